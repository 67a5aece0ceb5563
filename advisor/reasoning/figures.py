"""The figures and sizes that go with a chosen item: exact where the facts are, and what they wait for where not."""

from __future__ import annotations

from collections.abc import Container, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from advisor.facts import Between, FactSheet, OneOf, Possible
from advisor.knowledge.conditions import number
from advisor.knowledge.lengths import decimal, feet_and_inches, millimetres, plain, written
from advisor.knowledge.measures import MEASURES
from advisor.knowledge.parts import Figure, Source, Table
from advisor.logic import UNKNOWN, YES
from advisor.reasoning.infer import Findings, Judge

Units = Literal["inches", "millimetres"]
ACTIVE, INACTIVE = "leaf_width_in", "inactive_leaf_width_in"
NOTHING = "none"


@dataclass(frozen=True, slots=True)
class FigureLine:
    """One figure of one item.

    Attributes:
        text: the figure in words; where leaves of different width both take the item, active leaf first, ``/``
            between. None where nothing can be said yet.
        waits_for: the facts that would have to be exact; empty where the text is final.
    """

    name: str
    label: str
    text: str | None
    waits_for: frozenset[str]
    source: Source


@dataclass(frozen=True, slots=True)
class Worked:
    """What a figure or table came to.

    Attributes:
        parts: lengths and amounts as ranges, words as they stand; None where nothing can be said.
        waits_for: the facts that would have to be exact. Empty with no parts: it does not apply to this opening.
    """

    parts: tuple[Between | str, ...] | None
    waits_for: frozenset[str]


@dataclass(frozen=True, slots=True)
class _View:
    """An opening seen from one leaf. From the inactive leaf of an unequal pair, that leaf's width is the width."""

    judge: Judge
    findings: Findings
    sheet: FactSheet
    from_inactive: bool = False

    def own(self, fact: str, reads: Container[str] = ()) -> str:
        """The fact to read for this leaf; what reads the widths of both leaves anyway is left alone."""
        return INACTIVE if self.from_inactive and fact == ACTIVE and INACTIVE not in reads else fact

    def possible(self, fact: str) -> Possible:
        """What a fact may be: the exact words where there are some, within what follows from everything else."""
        cells = self.judge.graph.cells[fact]
        left = cells.possible(self.findings.state[self.judge.graph.fact_index[fact]] or cells.full)
        entry = self.sheet.entries.get(fact)
        said = entry.possible if entry else None
        if isinstance(left, OneOf) or not isinstance(said, Between):
            return left
        lows = [end for end in (left.at_least, said.at_least) if end is not None]
        highs = [end for end in (left.at_most, said.at_most) if end is not None]
        low, high = max(lows, default=None), min(highs, default=None)
        return left if low is not None and high is not None and low > high else Between(low, high)

    def unbounded(self, fact: str) -> bool:
        """Whether one end of what a quantity may be is only the end of what is possible at all."""
        possible, kind = self.possible(fact), self.judge.graph.kinds[fact]
        if isinstance(possible, OneOf) or possible.exact is not None:
            return False
        return possible.at_least in (None, kind.low) or possible.at_most in (None, kind.high)

    def seen(self) -> Findings:
        """The findings with this leaf's width as the leaf's width."""
        if not self.from_inactive:
            return self.findings
        graph, state = self.judge.graph, list(self.findings.state)
        state[graph.fact_index[ACTIVE]] = graph.cells[ACTIVE].mask(self.possible(INACTIVE))
        return replace(self.findings, state=state)


def figures_for(
    judge: Judge, item: str, findings: Findings, sheet: FactSheet, leaf: str, units: Units = "inches"
) -> tuple[FigureLine, ...]:
    """The figures of an item on one leaf (or ``each``, or the ``opening``), in the item's own order.

    A figure that has no sense on this opening is left out.
    """
    lines = []
    for name in judge.graph.items[item].figures:
        figure = judge.graph.figures[name]
        text, waits = _over_leaves(judge, name, findings, sheet, leaf, units)
        if text is not None or waits:
            lines.append(FigureLine(name, figure.label, text, waits, figure.source))
    return tuple(lines)


def size_of(judge: Judge, item: str, findings: Findings, sheet: FactSheet, leaf: str, units: Units = "inches") -> str:
    """The size to order, its parts joined by `` x ``; empty where the item has none or a part is not yet known."""
    sizes = []
    for view in _views(judge, findings, sheet, leaf):
        parts = []
        for name in judge.graph.items[item].size:
            worked = _worked(view, name)
            if worked.waits_for:
                return ""
            if worked.parts is not None:
                parts.append(_shown(judge, name, worked.parts, units))
        sizes.append(" x ".join(parts))
    return _joined(sizes)


def told(
    judge: Judge, name: str, findings: Findings, sheet: FactSheet, leaf: str = "each", units: Units = "inches"
) -> tuple[str | None, frozenset[str]]:
    """A table or figure in words, and the facts it waits for; None with nothing to wait for: it does not apply."""
    return _over_leaves(judge, name, findings, sheet, leaf, units)


def row_text(judge: Judge, name: str, value: str, units: Units = "inches") -> str:
    """The value of a row as the table or figure writes it; empty where the row says there is nothing."""
    parts = _parts(value)
    return "" if parts is None else _shown(judge, name, parts, units)


def work_out(judge: Judge, figure: Figure, findings: Findings, sheet: FactSheet, leaf: str = "active") -> Worked:
    """What a figure comes to on one leaf, before it is put in words."""
    view = next(_views(judge, findings, sheet, leaf))
    return _of_figure(view, figure)


def row_of(judge: Judge, table: Table, findings: Findings, sheet: FactSheet, leaf: str = "active") -> Worked:
    """What a table gives for one leaf, before it is put in words."""
    return _of_table(next(_views(judge, findings, sheet, leaf)), table)


def _over_leaves(
    judge: Judge, name: str, findings: Findings, sheet: FactSheet, leaf: str, units: Units
) -> tuple[str | None, frozenset[str]]:
    texts: list[str] = []
    waiting: frozenset[str] = frozenset()
    silent = False
    for view in _views(judge, findings, sheet, leaf):
        worked = _worked(view, name)
        waiting |= worked.waits_for
        if worked.parts is not None and not any(view.unbounded(fact) for fact in worked.waits_for):
            texts.append(_shown(judge, name, worked.parts, units))
        elif worked.waits_for:
            silent = True
    return (None if silent or not texts else _joined(texts)), waiting


def _joined(texts: list[str]) -> str:
    return texts[0] if len(set(texts)) == 1 else " / ".join(texts)


def _views(judge: Judge, findings: Findings, sheet: FactSheet, leaf: str) -> Iterator[_View]:
    """The opening seen from the leaf; from both where unequal leaves both take the item."""
    active = _View(judge, findings, sheet)
    unequal = active.possible("leaves") == OneOf(frozenset(("unequal_pair",)))
    if leaf != "inactive" or not unequal:
        yield active
    if leaf in ("inactive", "each") and unequal:
        yield replace(active, from_inactive=True)


def _worked(view: _View, name: str) -> Worked:
    graph = view.judge.graph
    if name in graph.tables:
        return _of_table(view, graph.tables[name])
    return _of_figure(view, graph.figures[name])


def _of_figure(view: _View, figure: Figure) -> Worked:
    if figure.table:
        return _of_table(view, view.judge.graph.tables[figure.table])
    measure = MEASURES[figure.measure]
    own = {fact: view.own(fact, measure.reads) for fact in measure.reads}
    values = {fact: view.possible(own[fact]) for fact in measure.reads}
    waits = frozenset(own[fact] for fact in measure.waits_for(values, figure.amounts))
    return Worked(measure.compute(values, figure.amounts), waits)


def _of_table(view: _View, table: Table) -> Worked:
    judge, findings, waiting = view.judge, view.seen(), frozenset[str]()
    for row in table.rows:
        verdict = judge.truth(row.when, findings)
        if verdict == YES:
            return Worked(_parts(row.value), frozenset())
        if verdict == UNKNOWN:
            waiting |= judge.waits_for(row.when, findings)
    return Worked(None, frozenset(view.own(fact) for fact in waiting))


def _parts(value: str) -> tuple[Between | str, ...] | None:
    """A row's value: numbers exact, words as they stand; None where the row says there is nothing."""
    if value == NOTHING:
        return None
    found: list[Between | str] = []
    for part in value.split(" x "):
        try:
            exact = number(part)
            found.append(Between(exact, exact))
        except ValueError:
            found.append(part)
    return tuple(found)


class _Part:
    """A part of a figure that writes itself as the template asks."""

    def __init__(self, part: Between | str, units: Units) -> None:
        self.part, self.units = part, units

    def __format__(self, way: str) -> str:
        if isinstance(self.part, str):
            return self.part
        ends = [end for end in (self.part.at_least, self.part.at_most) if end is not None]
        return "–".join(dict.fromkeys(self._write(end, way) for end in ends))

    def _write(self, value: Fraction, way: str) -> str:
        if way == "plain":
            return plain(value)
        if self.units == "millimetres":
            return millimetres(value, Fraction(1, 100) if way == "decimal" else Fraction(1))
        return {"feet": feet_and_inches, "decimal": decimal}.get(way, written)(value)


def _shown(judge: Judge, name: str, parts: tuple[Between | str, ...], units: Units) -> str:
    graph = judge.graph
    if name in graph.figures:
        return graph.figures[name].show.format(*(_Part(part, units) for part in parts))
    table = graph.tables[name]
    if table.unit == "in":
        return " x ".join(f"{_Part(part, units)}" for part in parts)
    shown = " x ".join(f"{_Part(part, units):plain}" for part in parts)
    return f"{shown} {table.unit}".strip()
