"""Why not, what if and what would let me are the same as a fresh run with the changed facts."""

from __future__ import annotations

import random

import pytest

from advisor.logic import NO, UNKNOWN
from advisor.reasoning.argue import Arguer, difference
from advisor.reasoning.choose import Chooser
from advisor.reasoning.infer import Judge, State
from advisor.reasoning.recommend import Recommender

CASES = 2000
USUAL = ("leaves", "door_material", "fire_rating_minutes", "room_use", "occupancy", "occupant_load", "existing_door")


@pytest.fixture(scope="module")
def recommender(chooser: Chooser) -> Recommender:
    return Recommender(chooser)


def drawn(judge: Judge, rng: random.Random, known: int) -> State:
    """A state with the usual facts and a few others known."""
    state = list(judge.full)
    names = [*USUAL, *rng.sample(sorted(judge.graph.kinds), known)]
    for name in names:
        at = judge.graph.fact_index[name]
        state[at] = rng.choice(judge.graph.cells[name].samples(judge.full[at]))[0]
    return state


def test_what_if_is_what_a_fresh_run_with_the_changed_fact_says(judge: Judge, recommender: Recommender) -> None:
    rng = random.Random(51)
    fresh = Recommender(Chooser(Judge(judge.graph)))
    for _ in range(CASES):
        said = drawn(judge, rng, 10)
        fact = rng.choice(USUAL)
        at = judge.graph.fact_index[fact]
        changed = list(said)
        changed[at] = rng.choice(judge.graph.cells[fact].samples(judge.full[at]))[0]
        before, after = (recommender.chooser.choose(judge.infer(state)) for state in (said, changed))
        anew = fresh.chooser.choose(fresh.judge.infer(changed))

        assert after.hardware == anew.hardware
        assert (before.hardware == after.hardware) == (
            recommender.chooser.choose(judge.infer(said)).hardware == anew.hardware
        )


def test_a_difference_turns_one_set_into_the_other(judge: Judge, recommender: Recommender) -> None:
    rng = random.Random(52)
    for _ in range(100):
        said = drawn(judge, rng, 10)
        fact = rng.choice(USUAL)
        at = judge.graph.fact_index[fact]
        changed = list(said)
        changed[at] = rng.choice(judge.graph.cells[fact].samples(judge.full[at]))[0]
        before, after = (recommender.recommend(judge.infer(state)) for state in (said, changed))
        found = difference(before, after)

        def keys(lines: object) -> set[tuple[str, str, int]]:
            return {(line.leaf, line.item, line.quantity) for line in lines}  # type: ignore[attr-defined]

        assert (keys(before.lines) - keys(found.removed)) | keys(found.added) == keys(after.lines)


def test_an_objection_names_a_rule_that_really_bars_the_item(judge: Judge, recommender: Recommender) -> None:
    rng = random.Random(53)
    graph, arguer = judge.graph, Arguer(recommender)
    families = sorted(name for name, items in graph.families.items() if items)
    barred = 0
    for _ in range(300):
        findings = judge.infer(drawn(judge, rng, 12))
        found = recommender.recommend(findings)
        family = rng.choice(families)
        objections = arguer.why_not(family, found)
        in_set = any(graph.is_a(line.item, family) for line in found.lines)

        assert not (in_set and objections)
        for objection in objections:
            for name in objection.rules:
                rule = graph.rules[name]
                verdicts = [case.rules[judge.rule_index[name]] for _, _, case in found.choice.cases]
                assert max(verdicts) != NO
                if objection.why == "barred":
                    barred += 1
                    assert rule.effect == "forbids"
                    assert objection.about in rule.targets
    assert barred > 50


def test_what_would_allow_an_item_does_allow_it(judge: Judge, recommender: Recommender) -> None:
    rng = random.Random(54)
    graph, arguer = judge.graph, Arguer(recommender)
    families = ("flush_bolt_manual", "rim_device", "mullion", "hinge_plain", "exit_device", "surface_bolt")
    ways = 0
    for _ in range(60):
        findings = judge.infer(drawn(judge, rng, 14))
        family = rng.choice(families)
        for fact, bits in arguer.what_would(family, findings):
            for bit, _ in graph.cells[fact].samples(bits):
                said = list(findings.said)
                said[graph.fact_index[fact]] = bit
                ways += 1
                assert Chooser(judge).allows(judge.infer(said), family)
    assert ways > 30


def test_an_item_in_the_set_is_allowed(judge: Judge, recommender: Recommender) -> None:
    rng = random.Random(55)
    for _ in range(100):
        findings = judge.infer(drawn(judge, rng, 25))
        choice = recommender.chooser.choose(findings, UNKNOWN)
        if len(choice.cases) == 1 and not choice.cases[0][1].unmet:
            for pick in choice.cases[0][1].picks:
                if pick.brought_by is None:
                    assert recommender.chooser.allows(findings, pick.item), pick
