"""A session: what one opening's conversation holds between two turns. It lives in rasa-sdk's slots as plain JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from advisor.facts import Between, Entry, FactSheet, OneOf, Possible


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A fact said twice, the second time against the first."""

    fact: str
    before: Entry
    now: Entry


@dataclass(frozen=True, slots=True)
class Session:
    """What is known and what was last said.

    Attributes:
        sheet: the facts said.
        turn: how many turns were made.
        asked: the fact the last turn asked for.
        contradictions: facts said twice, of which the customer is asked, one after the other, which statement holds.
        advised: whether the last turn gave a set.
        earlier: the sheets before the last changes, newest last, for taking a step back.
        number: which opening of the conversation this is.
        others: the other openings said, each with its number, waiting or done.
        ordering: the customer wants a list to order from, so the ordering details are asked too.
    """

    sheet: FactSheet = field(default_factory=FactSheet)
    turn: int = 0
    asked: str | None = None
    contradictions: tuple[Contradiction, ...] = ()
    advised: bool = False
    earlier: tuple[FactSheet, ...] = ()
    number: int = 1
    others: tuple[tuple[int, FactSheet], ...] = ()
    ordering: bool = False

    @property
    def contradiction(self) -> Contradiction | None:
        """The contradiction being asked about."""
        return self.contradictions[0] if self.contradictions else None

    @property
    def closed(self) -> frozenset[str]:
        """The facts the customer doesn't know."""
        return frozenset(name for name, entry in self.sheet.entries.items() if entry.closed)

    def beside(self, sheets: Sequence[FactSheet]) -> Session:
        """This session with more openings waiting, numbered on."""
        free = max([self.number, *(number for number, _ in self.others)]) + 1
        return replace(self, others=(*self.others, *enumerate(sheets, free)))

    def turned_to(self, number: int, shared: frozenset[str] = frozenset()) -> Session:
        """This session at another of its openings, the present one kept; shared facts are taken over where unsaid."""
        sheet = dict(self.others)[number]
        for fact in sorted(shared & self.sheet.entries.keys() - sheet.entries.keys()):
            sheet = sheet.with_entry(fact, self.sheet.entries[fact])
        rest = ((other, kept) for other, kept in self.others if other != number)
        others = tuple(sorted([*rest, (self.number, self.sheet)], key=lambda entry: entry[0]))
        return replace(
            self, number=number, sheet=sheet, others=others, asked=None, contradictions=(), advised=False, earlier=()
        )

    def with_sheet(self, sheet: FactSheet) -> Session:
        """This session with another sheet, the present one kept for a step back."""
        if sheet == self.sheet:
            return self
        return replace(self, sheet=sheet, earlier=(*self.earlier[-19:], self.sheet))


def to_slots(session: Session) -> dict[str, Any]:
    """The session as rasa slots: one for each fact said, and a few of its own."""
    slots: dict[str, Any] = {f"fact_{name}": _entry(entry) for name, entry in session.sheet.entries.items()}
    slots |= {
        "turn": session.turn,
        "asked": session.asked,
        "advised": session.advised,
        "contradictions": [
            {"fact": said.fact, "before": _entry(said.before), "now": _entry(said.now)}
            for said in session.contradictions
        ],
        "earlier": [_sheet(sheet) for sheet in session.earlier],
        "number": session.number,
        "others": [[number, _sheet(sheet)] for number, sheet in session.others],
        "ordering": session.ordering,
    }
    return slots


def from_slots(slots: Mapping[str, Any]) -> Session:
    """The session that a tracker's slots hold; a new one where they hold nothing."""
    entries = {
        name.removeprefix("fact_"): _read_entry(value)
        for name, value in sorted(slots.items())
        if name.startswith("fact_") and value is not None
    }
    return Session(
        sheet=FactSheet(entries),
        turn=slots.get("turn") or 0,
        asked=slots.get("asked"),
        advised=bool(slots.get("advised")),
        contradictions=tuple(
            Contradiction(said["fact"], _read_entry(said["before"]), _read_entry(said["now"]))
            for said in slots.get("contradictions") or ()
        ),
        earlier=tuple(_read_sheet(sheet) for sheet in slots.get("earlier") or ()),
        number=slots.get("number") or 1,
        others=tuple((number, _read_sheet(sheet)) for number, sheet in slots.get("others") or ()),
        ordering=bool(slots.get("ordering")),
    )


def possible_to_json(possible: Possible | None) -> Any:
    """What may still be, as JSON: a sorted list of choices, or ``at_least``/``at_most`` as exact text."""
    if possible is None:
        return None
    if isinstance(possible, OneOf):
        return sorted(possible.values)
    return {
        key: str(value)
        for key, value in (("at_least", possible.at_least), ("at_most", possible.at_most))
        if value is not None
    }


def _read_possible(data: Any) -> Possible | None:
    if data is None:
        return None
    if isinstance(data, list):
        return OneOf(frozenset(data))
    ends = {key: Fraction(data[key]) if key in data else None for key in ("at_least", "at_most")}
    return Between(ends["at_least"], ends["at_most"])


def _sheet(sheet: FactSheet) -> dict[str, Any]:
    return {name: _entry(entry) for name, entry in sheet.entries.items()}


def _read_sheet(data: Mapping[str, Any]) -> FactSheet:
    return FactSheet({name: _read_entry(entry) for name, entry in data.items()})


def _entry(entry: Entry) -> dict[str, Any]:
    return {
        "possible": possible_to_json(entry.possible),
        "text": entry.text,
        "closed": entry.closed,
        "hedged": entry.hedged,
    }


def _read_entry(data: Mapping[str, Any]) -> Entry:
    return Entry(_read_possible(data["possible"]), data["text"], data["closed"], data["hedged"])
