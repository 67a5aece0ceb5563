"""Runs the worked examples of worked_examples.yaml against the tables, figures, items and rules.

`pytest -k WE-059` runs one. Each names where its answer rests, and says so where that is memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from math import prod
from pathlib import Path
from typing import Any

import pytest

from advisor.errors import DataError
from advisor.facts import Between, Entry, FactSheet
from advisor.knowledge.conditions import Reader, number
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import possible_of
from advisor.knowledge.parts import Figure
from advisor.logic import NO, YES
from advisor.reasoning.figures import Worked, row_of, size_of, work_out
from advisor.reasoning.infer import Findings, Judge
from advisor.yaml_files import Mapping as YamlMapping
from advisor.yaml_files import Place, check_keys, read, texts

FILE = Path(__file__).with_name("worked_examples.yaml")
EXAMPLES = read(FILE, FILE.name)
TESTED: YamlMapping = EXAMPLES["tested"]
LEFT: YamlMapping = EXAMPLES["left"]
ROWS: dict[str, YamlMapping] = {**TESTED, **EXAMPLES["facts"]}
ALL = [f"WE-{number:03}" for number in range(1, 176)]
ASKS = ("table", "figure", "product", "size", "required", "forbidden", "fits", "brings", "presumed", "caution", "title")
SAID = {"yes": YES, "no": NO}


def checks_of(row: YamlMapping) -> Iterator[YamlMapping]:
    for check in row.get("checks", [row]):
        merged = YamlMapping({**check, "given": {**row["given"], **check.get("given", {})}})
        merged.place, merged.places = check.place, check.places
        yield merged


class Opening:
    """An example's facts, judged."""

    def __init__(self, judge: Judge, given: dict[str, Any]) -> None:
        self.judge, self.graph = judge, judge.graph
        reader, place = Reader(self.graph.kinds, {}), Place(FILE.name, 1)
        entries = {}
        for fact, value in given.items():
            kind = self.graph.kinds[fact]
            entries[fact] = Entry(possible_of(kind, reader.compare(kind, value, place)))
        self.sheet = FactSheet(entries)
        self.findings: Findings = judge.infer(judge.said(self.sheet))

    def figure(self, figure: Figure) -> list[Fraction | str]:
        return exact(work_out(self.judge, figure, self.findings, self.sheet))

    def table(self, name: str) -> list[Fraction | str]:
        return exact(row_of(self.judge, self.graph.tables[name], self.findings, self.sheet))

    def cautions(self) -> list[str]:
        return [
            " ".join(" ".join(rule.targets).split())
            for rule in self.graph.cautioning()
            if self.findings.rules[self.judge.rule_index[rule.name]] == YES
        ]


def exact(worked: Worked) -> list[Fraction | str]:
    assert not worked.waits_for, f"still waits for {sorted(worked.waits_for)}"
    assert worked.parts is not None, "does not apply"
    return [part if isinstance(part, str) else value(part) for part in worked.parts]


def value(part: Between) -> Fraction:
    assert part.exact is not None
    return part.exact


def numbers(data: YamlMapping, key: str) -> list[Fraction]:
    return [number(entry) for entry in texts(data, key, DataError)]


def parts(data: YamlMapping, key: str) -> list[Fraction | str]:
    """Numbers as numbers, words as words."""
    found: list[Fraction | str] = []
    for entry in texts(data, key, DataError):
        try:
            found.append(number(entry))
        except ValueError:
            found.append(entry)
    return found


def figure_of(graph: KnowledgeGraph, check: YamlMapping) -> Figure:
    figure = graph.figures[check["figure"]]
    own: YamlMapping = check.get("amounts", YamlMapping())
    assert own.keys() <= figure.amounts.keys(), "the figure works with no such amount"
    return replace(figure, amounts={**figure.amounts, **{name: tuple(numbers(own, name)) for name in own}})


def answer(judge: Judge, check: YamlMapping) -> tuple[object, object]:
    """What comes out, and what is expected of it."""
    opening, graph = Opening(judge, check["given"]), judge.graph
    if "table" in check:
        return opening.table(check["table"]), parts(check, "expect")
    if "figure" in check:
        return opening.figure(figure_of(graph, check)), parts(check, "expect")
    if "amounts_of" in check:
        expect: YamlMapping = check["expect"]
        amounts = graph.figures[check["amounts_of"]].amounts
        return {name: list(amounts[name]) for name in amounts}, {name: numbers(expect, name) for name in expect}
    if "product" in check:
        found = [opening.table(name)[0] for name in texts(check, "product", DataError)]
        return [prod(Fraction(factor) for factor in found)], numbers(check, "expect")
    if "size" in check:
        return size_of(judge, check["size"], opening.findings, opening.sheet, "each"), check["expect"]
    if "presumed" in check:
        return number(graph.kinds[check["presumed"]].presumed or ""), number(check["expect"])
    if "title" in check:
        words = texts(check, "expect", DataError)
        return [word for word in words if word in graph.items[check["title"]].title], list(words)
    if "caution" in check:
        words = texts(check, "caution", DataError)
        shown = any(all(word in caution for word in words) for caution in opening.cautions())
        return YES if shown else NO, SAID[check["expect"]]
    if "fits" in check:
        return judge.truth(graph.items[check["fits"]].fits, opening.findings), SAID[check["expect"]]
    if "brings" in check:
        item, brought = check["brings"]
        whens = [companion.when for companion in graph.items[item].brings if companion.item == brought]
        verdicts = [judge.truth(when, opening.findings) for when in whens]
        return max(verdicts, default=NO), SAID[check["expect"]]
    how = "required" if "required" in check else "forbidden"
    verdicts = opening.findings.required if how == "required" else opening.findings.forbidden
    return verdicts[graph.requirement_index[check[how]]], SAID[check["expect"]]


@pytest.mark.parametrize("name", list(ROWS))
def test_the_answer_is_the_one_expected(name: str, judge: Judge) -> None:
    row = ROWS[name]
    for check in checks_of(row):
        found, expected = answer(judge, check)
        assert found == expected, f"{check.place}: rests on {EXAMPLES['sources'][row['source']]}"


@pytest.mark.parametrize("name", list(ROWS))
def test_the_row_is_complete(name: str) -> None:
    row = ROWS[name]
    check_keys(row, ("given", "source"), (*ASKS, "amounts_of", "amounts", "expect", "checks", "from_memory"), DataError)
    assert row["source"] in EXAMPLES["sources"]
    for check in checks_of(row):
        assert sum(ask in check for ask in (*ASKS, "amounts_of")) == 1
        assert "expect" in check


def test_every_example_is_tested_or_left_with_a_reason() -> None:
    assert sorted([*TESTED, *LEFT]) == ALL
    assert all(reason.strip() for reason in LEFT.values())


@pytest.mark.parametrize(
    "name", [name for name in TESTED if TESTED[name]["source"] in ("rod", "sdi", "width_recalled")]
)
def test_a_figure_recalled_says_so_itself(name: str, graph: KnowledgeGraph) -> None:
    assert TESTED[name]["from_memory"] == "yes"
    assert graph.figures[TESTED[name]["figure"]].source.basis == "from_memory"
