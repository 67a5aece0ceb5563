"""Heights, widths, floor space, forces and times of public law, row by row against figures with their source."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from plain_judge import possible

from advisor.facts import Entry, FactSheet
from advisor.knowledge.graph import KnowledgeGraph
from advisor.logic import YES
from advisor.reasoning.infer import Judge
from advisor.yaml_files import read

LAW: dict[str, Any] = dict(read(Path(__file__).parent / "public_law.yaml"))
CLEARANCES = LAW["maneuvering_clearances"]
SAID = {
    f"{group}: {what}": row for group in ("heights", "widths", "forces", "times") for what, row in LAW[group].items()
}
TABLES = ("clearance_front", "clearance_hinge_pull", "clearance_hinge_push", "clearance_latch_side")
NEWER = "clearance_front_new_buildings"


def value_of(judge: Judge, table: str, facts: dict[str, str]) -> str:
    """The value of the one row that holds."""
    graph = judge.graph
    entries = {fact: Entry(possible(graph.kinds[fact], value), "") for fact, value in facts.items()}
    findings = judge.infer(judge.said(FactSheet(entries)))
    (value,) = [row.value for row in graph.tables[table].rows if judge.truth(row.when, findings) == YES]
    return value


def pairs(value: str) -> list[tuple[str, str]]:
    """``60 x 36 x 54 x 42`` is two ways to comply."""
    parts = value.split(" x ")
    return list(zip(parts[::2], parts[1::2], strict=True))


def table_for(approach: str, side: str, newer: bool) -> str:
    if approach == "hinge_side":
        return f"clearance_hinge_{side}"
    if newer and side == "push":
        return NEWER
    return "clearance_front" if approach == "front" else "clearance_latch_side"


@pytest.mark.parametrize("row", CLEARANCES)
def test_the_floor_space_before_a_door(row: str, judge: Judge) -> None:
    standard, section, approach, side, closer, latch, depth, beside, of_what, certainty = CLEARANCES[row]
    newer = standard == "A117.1 2017"
    facts = {"approach": approach, "door_side": side, "closer_fitted": closer, "latch_fitted": latch}
    if newer:
        facts |= {"code": "ibc_2021", "existing_door": "no"}
    name = table_for(approach, side, newer)
    table = judge.graph.tables[name]
    assert (depth, beside) in pairs(value_of(judge, name, facts))
    assert (of_what == "hinge") == ("beside the hinges" in table.meaning)
    if standard == "ADA 2010":
        assert table.source.basis == ("from_memory" if certainty == "memory" else "cited")
        assert certainty == "memory" or (table.source.work, section in table.source.section) == ("ada", True)


def test_every_row_about_floor_space_is_tested_or_left_out() -> None:
    rows = {*CLEARANCES, *LAW["not_swinging"]}
    assert rows == {f"MC-{number:03}" for number in range(1, 65)}


@pytest.mark.parametrize("approach", ["front", "hinge_side", "latch_side"])
@pytest.mark.parametrize("side", ["pull", "push"])
def test_each_way_to_a_door_is_in_one_table(approach: str, side: str, judge: Judge) -> None:
    facts = {"approach": approach, "door_side": side, "closer_fitted": "yes", "latch_fitted": "yes"}
    assert [name for name in TABLES if value_of(judge, name, facts) != "none"] == [table_for(approach, side, False)]


@pytest.mark.parametrize(("code", "existing"), [("ibc_2018", "no"), ("ibc_2021", "yes"), ("ibc_2024", "yes")])
def test_the_deeper_push_side_is_for_new_buildings_under_the_newer_codes(
    code: str, existing: str, judge: Judge
) -> None:
    facts = {"approach": "front", "door_side": "push", "closer_fitted": "yes", "latch_fitted": "yes"}
    assert value_of(judge, NEWER, {**facts, "code": code, "existing_door": existing}) == "none"


@pytest.mark.parametrize("what", SAID)
def test_a_rule_says_the_figure_and_cites_its_section(what: str, graph: KnowledgeGraph) -> None:
    work, section, name, words = SAID[what]
    rule = graph.rules[name]
    text = " ".join((*rule.targets, rule.because))
    assert [figure for figure in words if figure not in text] == []
    assert rule.source.work == work
    assert section in rule.source.section


@pytest.mark.parametrize("name", LAW["tables"])
def test_a_table_gives_the_figure_and_cites_its_section(name: str, judge: Judge) -> None:
    work, section, facts, value = LAW["tables"][name]
    source = judge.graph.tables[name].source
    assert value_of(judge, name, facts) == value
    assert (source.work, section in source.section) == (work, True)


def test_the_figures_shown_rest_on_what_their_tables_rest_on(graph: KnowledgeGraph) -> None:
    for name in (*TABLES, NEWER):
        figure, table = graph.figures[name], graph.tables[name]
        assert figure.table == name
        assert figure.source == table.source
        assert figure.facts == table.facts
