"""Random openings, complete and partial, held against the plain judge. Every draw is seeded: a failure comes back.

`-s` shows what was measured. What a failure prints can be judged by hand: the facts that differ from the usual.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import pytest
from plain_judge import Completions, Opening, Openings, PlainJudge, SetLine, possible

from advisor.facts import Entry, FactSheet
from advisor.knowledge.graph import KnowledgeGraph
from advisor.logic import UNKNOWN
from advisor.reasoning.choose import Choice, Chooser, Plan
from advisor.reasoning.infer import Judge

COMPLETE, PARTIAL, COMPLETIONS = 10_000, 2_000, 20


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


def matching(choice: Choice, bits: dict[str, int]) -> Iterator[Plan]:
    """The plans of the cases that a complete opening belongs to."""
    for assumed, plan, _ in choice.cases:
        if all(bits[fact] & mask for fact, mask in assumed):
            yield plan


def test_the_safe_set_of_a_partial_opening_is_acceptable_in_every_completion(
    graph: KnowledgeGraph, judge: Judge, chooser: Chooser
) -> None:
    openings, completions = Openings(graph, seed=5), Completions(graph, seed=6)
    wrong, tried, openings_short, completions_short = [], 0, 0, 0
    short, cases = Counter[str](), []
    for number in range(PARTIAL):
        opening = drawn(openings, number)
        known = openings.random.sample(sorted(opening), openings.random.randint(2, len(opening) - 1))
        findings = judge.infer(judge.said(sheet_of(graph, opening, known)))
        choice = chooser.choose(findings)
        cases.append(len(choice.cases))
        may_require = [
            name
            for name, at in graph.requirement_index.items()
            if graph.requirements[name].met_by_nothing and findings.required[at] == UNKNOWN
        ]
        was_short = False
        for _ in range(COMPLETIONS):
            tried += 1
            whole = completions.within(findings.state)
            bits = bits_of(graph, whole)
            plans = list(matching(choice, bits))
            if len(plans) != 1:
                wrong.append(f"{len(plans)} cases match: known {sorted(known)}: {shown(openings, whole)}")
                continue
            plain = PlainJudge(graph, whole)
            lines = lines_of(plans[0], bits)
            in_force = [name for name in plans[0].unmet if plain.required(name)]
            open_to = [name for name in may_require if plain.required(name)]
            faults = plain.faults(lines, plans[0].arrangement, sorted({*in_force, *open_to}))
            if faults:
                wrong.append(f"{faults}: known {sorted(known)}: {shown(openings, whole)}")
            avoidable = [name for name in in_force if not graph.requirements[name].met_by_nothing]
            if avoidable:
                ((_, best, _),) = chooser.choose(judge.infer([bits[fact] for fact in graph.fact_index])).cases
                more = set(avoidable) - set(best.unmet)
                short.update(more)
                completions_short += bool(more)
                was_short |= bool(more)
        openings_short += was_short
    cases.sort()
    print(f"\n{PARTIAL} partial openings, {tried} completions; cases: median {cases[len(cases) // 2]}, most {cases[-1]}")
    print(f"short of a completion's own set: {openings_short} openings, {completions_short} completions, {dict(short)}")
    assert not wrong, f"{len(wrong)} of {tried}; the first: {wrong[:5]}"
