"""Random openings, complete and partial, held against the plain judge. Every draw is seeded: a failure comes back.

`-s` shows what was measured. What a failure prints can be judged by hand: the facts that differ from the usual.
"""

from __future__ import annotations

import multiprocessing
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

import pytest
from plain_judge import Completions, Opening, Openings, PlainJudge, SetLine, possible

from advisor.facts import Entry, FactSheet
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import load_knowledge
from advisor.logic import UNKNOWN
from advisor.reasoning.choose import Choice, Chooser, Plan
from advisor.reasoning.infer import Findings, Judge
from advisor.yaml_files import data_folder

COMPLETE, PARTIAL, COMPLETIONS, SHARES = 10_000, 2_000, 20, 8


def drawn(openings: Openings, number: int) -> dict[str, object]:
    return openings.plausible() if number % 2 else openings.wild()  # type: ignore[return-value]


def sheet_of(graph: KnowledgeGraph, opening: Opening, order: list[str]) -> FactSheet:
    return FactSheet({fact: Entry(possible(graph.kinds[fact], opening[fact]), "") for fact in order})


def lines_of(plan: Plan, bits: dict[str, int]) -> list[SetLine]:
    """A plan's lines, with the quantities that hold for the opening whose cells are given."""
    found = []
    for pick in plan.picks:
        counts = [count for where, count in pick.counts if all(bits[fact] & mask for fact, mask in where)]
        assert len(counts) == 1, f"{pick.item}: {len(counts)} quantities hold for one opening"
        found.append(SetLine(pick.leaf, pick.item, counts[0]))
    return found


def bits_of(graph: KnowledgeGraph, opening: Opening) -> dict[str, int]:
    return {fact: graph.cells[fact].mask(possible(graph.kinds[fact], value)) for fact, value in opening.items()}


def shown(openings: Openings, opening: Opening) -> str:
    return ", ".join(f"{fact}={value}" for fact, value in opening.items() if value != openings.usual(fact))


def test_where_every_fact_is_known_nothing_is_implied_or_presumed(graph: KnowledgeGraph, judge: Judge) -> None:
    openings = Openings(graph, seed=1)
    for number in range(500):
        opening = drawn(openings, number)
        said = judge.said(sheet_of(graph, opening, sorted(opening)))
        assert judge.infer(said).state == said
        assert all(mask and not mask & (mask - 1) for mask in said)


def test_both_judges_find_the_same_requirements_and_prohibitions(graph: KnowledgeGraph, judge: Judge) -> None:
    openings = Openings(graph, seed=2)
    for number in range(500):
        opening = drawn(openings, number)
        plain = PlainJudge(graph, opening)
        findings = judge.infer(judge.said(sheet_of(graph, opening, sorted(opening))))
        for name, at in graph.requirement_index.items():
            assert (findings.required[at], findings.forbidden[at]) == (
                2 * plain.required(name),
                2 * plain.forbidden(name),
            ), f"{name}: {shown(openings, opening)}"


@pytest.fixture(scope="module")
def complete(graph: KnowledgeGraph, judge: Judge, chooser: Chooser) -> list[tuple[Opening, Plan]]:
    """10,000 complete openings with their sets; half of them plausible."""
    openings = Openings(graph, seed=3)
    found: list[tuple[Opening, Plan]] = []
    for number in range(COMPLETE):
        opening = drawn(openings, number)
        choice = chooser.choose(judge.infer(judge.said(sheet_of(graph, opening, sorted(opening)))))
        ((assumed, plan, _),) = choice.cases
        assert assumed == ()
        found.append((opening, plan))
    return found


def test_every_set_for_a_complete_opening_is_acceptable(
    graph: KnowledgeGraph, complete: list[tuple[Opening, Plan]]
) -> None:
    openings = Openings(graph, seed=0)
    wrong = []
    for opening, plan in complete:
        lines = lines_of(plan, bits_of(graph, opening))
        faults = PlainJudge(graph, opening).faults(lines, plan.arrangement, plan.unmet)
        if faults:
            wrong.append(f"{faults}: {shown(openings, opening)}")
    assert not wrong, f"{len(wrong)} of {len(complete)}; the first: {wrong[:5]}"


def test_what_is_listed_as_unmet_can_not_be_met(graph: KnowledgeGraph, complete: list[tuple[Opening, Plan]]) -> None:
    """Every other way of making up a set leaves as much unmet, by trying them all."""
    openings = Openings(graph, seed=0)
    wrong, tried, named = [], 0, Counter[str]()
    for opening, plan in complete:
        avoidable = [name for name in plan.unmet if not graph.requirements[name].met_by_nothing]
        named.update(avoidable)
        if avoidable:
            tried += 1
            fewest = PlainJudge(graph, opening).fewest_unmet()
            if fewest != len(plan.unmet):
                wrong.append(f"{len(plan.unmet)} unmet {plan.unmet}, {fewest} would do: {shown(openings, opening)}")
    print(f"\n{tried} of {len(complete)} complete openings leave something unmet that some item meets: {dict(named)}")
    assert not wrong, f"{len(wrong)} of {tried}; the first: {wrong[:5]}"


def test_the_same_facts_in_any_order_give_the_same_set(
    graph: KnowledgeGraph, judge: Judge, chooser: Chooser, complete: list[tuple[Opening, Plan]]
) -> None:
    openings = Openings(graph, seed=4)
    for opening, plan in complete:
        for _ in range(3):
            order = sorted(opening)
            openings.random.shuffle(order)
            choice = chooser.choose(judge.infer(judge.said(sheet_of(graph, opening, order))))
            assert [each for _, each, _ in choice.cases] == [plan]


def test_a_fresh_chooser_gives_the_same_sets_whatever_it_chose_before(
    graph: KnowledgeGraph, complete: list[tuple[Opening, Plan]]
) -> None:
    judge = Judge(graph)
    chooser = Chooser(judge)
    for opening, plan in reversed(complete):
        choice = chooser.choose(judge.infer(judge.said(sheet_of(graph, opening, sorted(opening)))))
        assert [each for _, each, _ in choice.cases] == [plan]


@dataclass
class Tried:
    """What came of a share of the partial openings."""

    cases: list[int] = field(default_factory=list)
    completions: int = 0
    openings_short: int = 0
    completions_short: int = 0
    short: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)


def matching(choice: Choice, bits: dict[str, int]) -> Iterator[Plan]:
    """The plans of the cases that a complete opening belongs to."""
    for assumed, plan, _ in choice.cases:
        if all(bits[fact] & mask for fact, mask in assumed):
            yield plan


def try_partial(seed: int) -> Tried:
    """A share of the partial openings, each with its completions. Every fact that is not known is closed."""
    graph = load_knowledge(data_folder("knowledge_graph"))
    judge = Judge(graph)
    chooser = Chooser(judge)
    openings, completions, tried = Openings(graph, seed), Completions(graph, seed), Tried()
    for number in range(PARTIAL // SHARES):
        opening = openings.plausible() if number % 4 else openings.wild()
        known = openings.random.sample(sorted(opening), openings.random.randint(2, len(opening) - 1))
        findings = judge.infer(judge.said(sheet_of(graph, opening, known)))
        choice = chooser.choose(findings)
        tried.cases.append(len(choice.cases))
        was_short = False
        for _ in range(COMPLETIONS):
            tried.completions += 1
            whole = completions.within(findings.state, findings.said)
            faults, short = judged(chooser, findings, choice, whole)
            if faults:
                told = {fact: whole[fact] for fact in known}
                text = f"{faults}: known {shown(openings, told)}; else {shown(openings, whole)}"
                tried.wrong.append(text)
            tried.short.update(short)
            tried.completions_short += bool(short)
            was_short |= bool(short)
        tried.openings_short += was_short
    return tried


def judged(chooser: Chooser, findings: Findings, choice: Choice, whole: Opening) -> tuple[list[str], set[str]]:
    """What is wrong with a safe set in one completion, and what it leaves unmet that the completion's own set meets."""
    graph = chooser.graph
    bits = bits_of(graph, whole)
    plans = list(matching(choice, bits))
    if len(plans) != 1:
        return [f"{len(plans)} cases match"], set()
    (plan,) = plans
    plain = PlainJudge(graph, whole)
    told = {*plan.unmet, *(name for name, at in graph.requirement_index.items() if told_of(graph, findings, name, at))}
    unmet = sorted(name for name in told if plain.required(name))
    faults = plain.faults(lines_of(plan, bits), plan.arrangement, unmet)
    short = {name for name in unmet if not graph.requirements[name].met_by_nothing}
    if short:
        state = [bits[fact] for fact in graph.fact_index]
        ((_, best, _),) = chooser.choose(chooser.judge.infer(state)).cases
        short -= set(best.unmet)
    return faults, short


def told_of(graph: KnowledgeGraph, findings: Findings, name: str, at: int) -> bool:
    """Whether a requirement that only a specialist meets is told as one that may come into force."""
    return graph.requirements[name].met_by_nothing and findings.required[at] == UNKNOWN


def test_the_safe_set_of_a_partial_opening_is_acceptable_in_every_completion() -> None:
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as pool:
        shares = list(pool.map(try_partial, range(100, 100 + SHARES)))
    cases = sorted(number for share in shares for number in share.cases)
    tried = sum(share.completions for share in shares)
    short = sum((share.short for share in shares), Counter[str]())
    wrong = [text for share in shares for text in share.wrong]
    print(f"\n{len(cases)} partial openings, {tried} completions")
    print(f"cases of a safe set: median {cases[len(cases) // 2]}, mean {sum(cases) / len(cases):.1f}, most {cases[-1]}")
    print(
        f"short of the completion's own set: {sum(share.openings_short for share in shares)} openings, "
        f"{sum(share.completions_short for share in shares)} completions, {dict(short)}"
    )
    assert len(cases) == PARTIAL
    assert not wrong, f"{len(wrong)} of {tried}; the first: {wrong[:5]}"
