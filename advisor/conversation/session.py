"""A session: what one opening's conversation holds between two turns. It lives in rasa-sdk's slots as plain JSON."""

from __future__ import annotations

from collections.abc import Mapping
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
    """

    sheet: FactSheet = field(default_factory=FactSheet)
    turn: int = 0
    asked: str | None = None
    contradictions: tuple[Contradiction, ...] = ()
    advised: bool = False
    earlier: tuple[FactSheet, ...] = ()

    @property
    def contradiction(self) -> Contradiction | None:
        """The contradiction being asked about."""
        return self.contradictions[0] if self.contradictions else None

    @property
    def closed(self) -> frozenset[str]:
        """The facts the customer doesn't know."""
        return frozenset(name for name, entry in self.sheet.entries.items() if entry.closed)

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
        "earlier": [{name: _entry(entry) for name, entry in sheet.entries.items()} for sheet in session.earlier],
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
        earlier=tuple(
            FactSheet({name: _read_entry(entry) for name, entry in sheet.items()})
            for sheet in slots.get("earlier") or ()
        ),
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


def _entry(entry: Entry) -> dict[str, Any]:
    return {
        "possible": possible_to_json(entry.possible),
        "text": entry.text,
        "closed": entry.closed,
        "hedged": entry.hedged,
    }


def _read_entry(data: Mapping[str, Any]) -> Entry:
    return Entry(_read_possible(data["possible"]), data["text"], data["closed"], data["hedged"])
