"""Ten times the rules: how long loading and a turn take beside our own graph.

The copies read the same facts and speak of requirements of their own, which the same items meet. A graph grows by the
situations it knows of, so each copy's rules hold for rooms of their own; what holds if every copy held everywhere is
measured beside it. Both graphs take turns, each turn is made several times by minds that remember nothing, and the
fastest of each counts, in the time of the processor.
"""

from __future__ import annotations

import time
from dataclasses import replace
from itertools import product

import pytest
from plain_judge import possible

from advisor.asking.plan import Planner
from advisor.facts import Entry, FactSheet
from advisor.knowledge import conditions
from advisor.knowledge.conditions import All, AnyOf, Compare, Condition, Needs, Not
from advisor.knowledge.graph import KnowledgeGraph, Parts
from advisor.knowledge.parts import Rule
from advisor.reasoning.choose import Chooser
from advisor.reasoning.infer import Judge

TIMES, TRIES = 10, 3
MOST = 3.0
TURNS: tuple[dict[str, str], ...] = (
    {"leaves": "pair", "door_material": "hollow_metal", "fire_rating_minutes": "90", "room_use": "stairwell"},
    {"leaves": "pair", "door_material": "wood_mineral_core", "fire_rating_minutes": "20", "room_use": "corridor"},
    {"leaves": "single", "door_material": "hollow_metal", "fire_rating_minutes": "0", "room_use": "office"},
    {"leaves": "pair", "door_material": "aluminum", "fire_rating_minutes": "0", "room_use": "building_entrance"},
    {"leaves": "unequal_pair", "door_material": "hollow_metal", "room_use": "electrical_room"},
    {"leaves": "single", "door_material": "wood_solid", "room_use": "apartment_entry", "occupant_load": "4"},
)


def copied(condition: Condition, number: int) -> Condition:
    """A condition that asks after the copy's requirements."""
    if isinstance(condition, Needs):
        return Needs(f"{condition.requirement}_{number}")
    if isinstance(condition, Not):
        return Not(copied(condition.part, number))
    if isinstance(condition, All | AnyOf):
        return type(condition)(tuple(copied(part, number) for part in condition.parts))
    return condition


def in_rooms(condition: Condition, rooms: frozenset[str]) -> Condition:
    return All((Compare("room_use", rooms), condition))


def copied_rule(rule: Rule, number: int, rooms: frozenset[str]) -> Rule:
    targets = rule.targets
    if rule.effect in ("requires", "forbids", "lifts"):
        targets = tuple(f"{target}_{number}" for target in targets)
    return replace(
        rule,
        name=f"{rule.name}_{number}",
        sentence=f"{rule.sentence} ({number})",
        targets=targets,
        condition=in_rooms(copied(rule.condition, number), rooms) if rooms else copied(rule.condition, number),
        cases=(),
    )


def grown(graph: KnowledgeGraph, times: int, everywhere: bool) -> KnowledgeGraph:
    """The graph with so many times its rules and requirements; the copies hold everywhere or each for some rooms."""
    numbers = range(1, times)
    every_room = graph.kinds["room_use"].choices
    rules, requirements = dict(graph.rules), dict(graph.requirements)
    for number in numbers:
        for rule in graph.rules.values():
            rooms = (
                frozenset()
                if everywhere or rule.effect == "implies"
                else frozenset(every_room[number - 1 :: times - 1])
            )
            copy = copied_rule(rule, number, rooms)
            rules[copy.name] = copy
        for requirement in graph.requirements.values():
            name = f"{requirement.name}_{number}"
            requirements[name] = replace(requirement, name=name)

    def also(gives: frozenset[str]) -> frozenset[str]:
        return gives | {f"{name}_{number}" for name in gives for number in numbers}

    return KnowledgeGraph(
        Parts(
            kinds=graph.kinds,
            requirements=requirements,
            works=graph.works,
            rules=rules,
            items={name: replace(item, gives=also(item.gives)) for name, item in graph.items.items()},
            arrangements={name: replace(part, gives=also(part.gives)) for name, part in graph.arrangements.items()},
            tables=graph.tables,
            figures=graph.figures,
        ),
        graph.fingerprint,
    )


def sheet(graph: KnowledgeGraph, given: dict[str, str]) -> FactSheet:
    entries = {}
    for fact, text in given.items():
        kind = graph.kinds[fact]
        entries[fact] = Entry(possible(kind, conditions.number(text) if kind.kind == "quantity" else text), text)
    return FactSheet(entries)


def turn(judge: Judge, given: dict[str, str]) -> tuple[float, float, float]:
    """The seconds of judging, choosing and asking by a mind that remembers nothing."""
    chooser = Chooser(judge)
    planner = Planner(chooser)
    said = judge.said(sheet(judge.graph, given))
    start = time.process_time()
    findings = judge.infer(said)
    judged = time.process_time()
    chooser.choose(findings)
    chosen = time.process_time()
    planner.next_question(findings, frozenset())
    return judged - start, chosen - judged, time.process_time() - chosen


@pytest.fixture(scope="module")
def elsewhere(graph: KnowledgeGraph) -> KnowledgeGraph:
    return grown(graph, TIMES, everywhere=False)


@pytest.fixture(scope="module")
def everywhere(graph: KnowledgeGraph) -> KnowledgeGraph:
    return grown(graph, TIMES, everywhere=True)


@pytest.mark.parametrize("kind", ["elsewhere", "everywhere"])
def test_the_larger_graph_has_ten_times_the_rules_and_comes_to_the_same_sets(
    kind: str, graph: KnowledgeGraph, request: pytest.FixtureRequest
) -> None:
    larger: KnowledgeGraph = request.getfixturevalue(kind)
    assert len(larger.rules) == TIMES * len(graph.rules)
    for given in TURNS:
        sets = []
        for judge in (Judge(graph), Judge(larger)):
            cases = Chooser(judge).choose(judge.infer(judge.said(sheet(judge.graph, given)))).cases
            sets.append([plan.hardware for _, plan, _ in cases])
        assert sets[0] == sets[1]


def compared(one: KnowledgeGraph, other: KnowledgeGraph) -> tuple[float, str]:
    """How many times as long the other graph takes for all turns, and the figures in words."""
    judges = Judge(one), Judge(other)
    totals = [[0.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    for given in TURNS:
        tries: list[list[tuple[float, float, float]]] = [[], []]
        for _ in range(TRIES):
            for side, judge in enumerate(judges):
                tries[side].append(turn(judge, given))
        for side, step in product(range(2), range(3)):
            totals[side][step] += min(taken[step] for taken in tries[side])
    before, after = sum(totals[0]), sum(totals[1])
    steps = "; ".join(
        f"{name} {mine * 1000:.1f} and {theirs * 1000:.1f} ms"
        for name, mine, theirs in zip(("judging", "choosing", "asking"), *totals, strict=True)
    )
    figures = f"{len(TURNS)} turns: {before * 1000:.0f} and {after * 1000:.0f} ms, {after / before:.2f} times ({steps})"
    print(f"\n{figures}")
    return after / before, figures


def test_a_turn_takes_at_most_three_times_as_long(graph: KnowledgeGraph, elsewhere: KnowledgeGraph) -> None:
    times, figures = compared(graph, elsewhere)
    assert times < MOST, figures


def test_rules_that_all_hold_everywhere_cost_no_more_than_their_number(
    graph: KnowledgeGraph, everywhere: KnowledgeGraph
) -> None:
    times, figures = compared(graph, everywhere)
    assert times < TIMES, figures


def test_building_the_graph_grows_no_faster_than_its_rules(graph: KnowledgeGraph) -> None:
    taken = {}
    for times in (1, TIMES):
        start = time.process_time()
        Judge(grown(graph, times, everywhere=False))
        taken[times] = time.process_time() - start
    print(f"\nbuilt in {taken[1]:.2f} and {taken[TIMES]:.2f} s")
    assert taken[TIMES] < 3 * TIMES * taken[1]
