"""What a fact is, what it may still be, and what was heard of it.

A fact is never set or missing: it is *what it may still be*. Nothing heard means everything possible.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

How = Literal["stated", "implied", "denied", "unsure"]


@dataclass(frozen=True, slots=True)
class OneOf:
    """Some of a choice fact's declared values (a kind stands for all kinds below it)."""

    values: frozenset[str]


@dataclass(frozen=True, slots=True)
class Between:
    """A range of a quantity, both ends included; None is an open end. Unit: the fact's own."""

    at_least: Fraction | None = None
    at_most: Fraction | None = None

    @property
    def exact(self) -> Fraction | None:
        """The one value left, or None where several are."""
        return self.at_least if self.at_least == self.at_most else None


Possible = OneOf | Between


@dataclass(frozen=True, slots=True)
class FactKind:
    """A declared fact.

    Attributes:
        name: its name everywhere.
        kind: ``choice``, ``yes_no``, ``steps`` (a few numbers in order) or ``quantity``.
        unit: of steps and quantities; empty otherwise.
        meaning: one sentence.
        choices: the finest values in declared order (numbers as text for steps); empty for a quantity.
        groups: a broader value and the finest values it stands for.
        presumed: the value taken where nothing is said, always listed as assumed; None for most.
        topic: ``safety``, ``set`` or ``ordering``: when it is worth asking.
        ease: 1 (anyone can tell) to 5 (needs the drawings).
        low, high: a quantity outside these is impossible, not merely unusual.
        building: the same for every opening of one building, so that a further opening takes it over.
        prior: how often each value is met, as weights; a value without one hardly ever. Nothing is concluded from it.
    """

    name: str
    kind: Literal["choice", "yes_no", "steps", "quantity"]
    meaning: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    groups: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    presumed: str | None = None
    topic: Literal["safety", "set", "ordering"] = "set"
    ease: int = 3
    low: Fraction | None = None
    high: Fraction | None = None
    building: bool = False
    prior: Mapping[str, int] = field(default_factory=dict)

    def finest(self, value: str) -> tuple[str, ...]:
        """The finest values a choice or group stands for; empty for a value the fact can't take."""
        if value in self.groups:
            return self.groups[value]
        return (value,) if value in self.choices else ()


@dataclass(frozen=True, slots=True)
class Heard:
    """One thing heard of one opening.

    Attributes:
        fact: the fact's name.
        possible: what the words leave possible; for "don't know" everything.
        text: the customer's own words; start and end are their characters, end excluded.
        how: ``stated``; ``denied`` ("not rated"); ``unsure`` (a hedge or "don't know"); ``implied``.
        opening: 1 for the first opening of the message.
        corrects: the words take an earlier statement back ("sorry, …").
        term: the phrasebook entry the words are of, ``<file>/<entry>``; ``measures/<kind>`` for a bare measure.
    """

    fact: str
    possible: Possible | None
    text: str
    start: int
    end: int
    how: How = "stated"
    opening: int = 1
    corrects: bool = False
    term: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Entry:
    """What a sheet holds of one fact: what is possible, on whose words; whether "don't know" or a hedge was said."""

    possible: Possible | None = None
    text: str = ""
    closed: bool = False
    hedged: bool = False


@dataclass(frozen=True, slots=True)
class FactSheet:
    """What was said of one opening, fact by fact. A fact without an entry may still be anything.

    >>> sheet = FactSheet().with_entry("exterior", Entry(OneOf(frozenset({"no"})), "inside"))
    >>> sheet.entries["exterior"].text
    'inside'
    """

    entries: Mapping[str, Entry] = field(default_factory=dict)

    def with_entry(self, fact: str, entry: Entry) -> FactSheet:
        """This sheet with one fact said anew."""
        return FactSheet({**self.entries, fact: entry})

    def without(self, fact: str) -> FactSheet:
        """This sheet with one fact forgotten."""
        return FactSheet({name: entry for name, entry in self.entries.items() if name != fact})
