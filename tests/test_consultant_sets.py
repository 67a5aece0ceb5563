"""The advisor's sets, line by line against lists written by hand before it was asked (consultant/sets.yaml).

Every difference is either mended or stands in the entry with its reason; a difference that went away must go there too.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from plain_judge import possible

from advisor.facts import Entry, FactKind, FactSheet
from advisor.knowledge.conditions import number
from advisor.knowledge.graph import KnowledgeGraph
from advisor.reasoning.choose import Chooser
from advisor.reasoning.infer import Judge
from advisor.yaml_files import read

FILE = Path(__file__).parent / "consultant" / "sets.yaml"
KEYS = {"says", "facts", "lines", "reasons", "differs"}
OPENINGS: dict[str, Any] = dict(read(FILE))


def entry(kind: FactKind, text: str) -> Entry:
    return Entry(possible(kind, number(text) if kind.kind == "quantity" else text), text)


def lines_of_the_advisor(name: str, graph: KnowledgeGraph, judge: Judge, chooser: Chooser) -> list[str]:
    """Each line of the advisor's one set for an opening: leaf, quantity, item."""
    given = {**OPENINGS["usual"], **OPENINGS["sets"][name]["facts"]}
    sheet = FactSheet({fact: entry(graph.kinds[fact], value) for fact, value in given.items()})
    ((_, plan, _),) = chooser.choose(judge.infer(judge.said(sheet))).cases
    found = []
    for pick in plan.picks:
        ((_, count),) = pick.counts
        found.append(f"{pick.leaf} {count} {pick.item}")
    return [*leaf_by_leaf(found), *(f"unmet {requirement}" for requirement in plan.unmet)]


def leaf_by_leaf(lines: list[str]) -> list[str]:
    """The lines with what lies on both leaves said for each: ``each 2 closer`` is one closer on either."""
    found = []
    for line in lines:
        leaf, count, item = line.split()
        if leaf == "each":
            found += [f"{one} {int(count) // 2} {item}" for one in ("active", "inactive")]
        else:
            found.append(line)
    return found


def differences(graph: KnowledgeGraph, expected: list[str], found: list[str]) -> list[str]:
    """``+`` for a line only the advisor has, ``-`` for one only the consultant has; a family stands for its kinds."""
    left, missing = list(found), []
    lines = leaf_by_leaf(expected)
    for line in [line for line in lines if line in left]:
        if line in left:
            left.remove(line)
            lines.remove(line)
    for line in lines:
        leaf, count, item = line.split()
        for other in left:
            head, _, kind = other.rpartition(" ")
            if head == f"{leaf} {count}" and graph.is_a(kind, item):
                left.remove(other)
                break
        else:
            missing.append(f"- {line}")
    return sorted([*missing, *(f"+ {line}" for line in left)])


@pytest.mark.parametrize("name", OPENINGS["sets"])
def test_every_difference_from_the_consultant_is_explained(
    name: str, graph: KnowledgeGraph, judge: Judge, chooser: Chooser
) -> None:
    opening = OPENINGS["sets"][name]
    found = differences(graph, opening["lines"], lines_of_the_advisor(name, graph, judge, chooser))
    assert found == sorted(opening.get("differs", {}))


@pytest.mark.parametrize("name", OPENINGS["sets"])
def test_an_entry_says_what_it_has_to(name: str, graph: KnowledgeGraph) -> None:
    opening = OPENINGS["sets"][name]
    assert set(opening) <= KEYS
    assert {"says", "facts", "lines"} <= set(opening)
    assert set(opening["facts"]) | set(OPENINGS["usual"]) <= set(graph.kinds)
    assert set(opening.get("reasons", {})) <= set(opening["lines"])
    for reason in [*opening.get("reasons", {}).values(), *opening.get("differs", {}).values()]:
        assert len(reason.split()) >= 3
    explained = " ".join(opening.get("differs", {}))
    for line in opening["lines"]:
        item = line.split()[2]
        assert item in graph.families or item in explained, f"{line}: nothing is called that"


def test_there_are_at_least_twenty_openings() -> None:
    assert len(OPENINGS["sets"]) >= 20


def test_a_wrong_quantity_leaf_or_item_is_a_difference(graph: KnowledgeGraph) -> None:
    assert differences(graph, ["active 3 hinge"], ["active 3 hinge_heavy"]) == []
    assert differences(graph, ["active 3 hinge"], ["active 4 pivot"]) == ["+ active 4 pivot", "- active 3 hinge"]
    assert differences(graph, ["active 3 hinge"], ["active 4 hinge"]) == ["+ active 4 hinge", "- active 3 hinge"]
    assert differences(graph, ["active 1 closer"], ["inactive 1 closer"]) == [
        "+ inactive 1 closer",
        "- active 1 closer",
    ]
    assert differences(graph, ["each 2 closer"], ["active 1 closer"]) == ["- inactive 1 closer"]
    assert differences(graph, ["active 1 closer"] * 2, ["active 1 closer"]) == ["- active 1 closer"]
