"""What the knowledge files hold, as frozen records. Each knows the place it was read from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from advisor.facts import Possible
from advisor.knowledge.conditions import Compare, Condition
from advisor.yaml_files import Place

Leaf = Literal["opening", "each", "active", "inactive"]
Strength = Literal["code", "listing", "good_practice"]
Effect = Literal["requires", "forbids", "lifts", "implies", "cautions"]


@dataclass(frozen=True, slots=True)
class Source:
    """Where a statement rests: a cited work, common practice of the trade, or memory (then it says so).

    ``local``: it comes from a folder laid over the built-in knowledge.
    """

    work: str = ""
    edition: str = ""
    section: str = ""
    basis: Literal["cited", "common_practice", "from_memory"] = "cited"
    local: bool = False


@dataclass(frozen=True, slots=True)
class Work:
    """A work that may be cited."""

    name: str
    title: str
    short: str


@dataclass(frozen=True, slots=True)
class Case:
    """Given facts and what the rule must say of them: ``applies``, ``does not apply`` or the facts it waits for.

    ``in_force`` are the requirements taken to be in force; a rule asking after others finds them not in force.
    """

    name: str
    given: dict[str, Possible]
    in_force: frozenset[str]
    expect: str | tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. ``targets`` are requirements, rule ids (lifts) or the caution's sentence, by its effect."""

    name: str
    sentence: str
    effect: Effect
    targets: tuple[str, ...]
    condition: Condition
    because: str
    source: Source
    strength: Strength
    place: Place
    implied: Compare | None = None
    facts: tuple[str, ...] = ()
    cases: tuple[Case, ...] = ()


@dataclass(frozen=True, slots=True)
class Requirement:
    """Something a rule may require or forbid."""

    name: str
    on: Leaf
    stage: str
    meaning: str
    place: Place
    trait: bool = False
    met_by_nothing: bool = False
    listed: bool = False


@dataclass(frozen=True, slots=True)
class Companion:
    """An item brought along by another, always or under a condition."""

    item: str
    on: Leaf
    when: Condition | None
    quantity: int = 1


@dataclass(frozen=True, slots=True)
class Item:
    """A hardware type.

    Attributes:
        gives: requirements and traits it meets or has, on the leaf it is fitted to.
        fits: where it fits; None fits everywhere.
        alone: chosen for a requirement by itself; False for one that comes only with an arrangement or another item.
        quantity: a number per leaf or opening, or the name of a table that gives it.
        figures: names of the preparation figures that go with it.
        order: facts that must be settled before it can be ordered.
        label: whether it has to be listed or labelled where every part of a fire door must be.
        base: the base metal it is made of, where a finish has to be translated for it.
        purpose: what it is there for, where it comes along with something else.
    """

    name: str
    is_a: tuple[str, ...]
    title: str
    type: str
    gives: frozenset[str]
    fits: Condition | None
    brings: tuple[Companion, ...]
    clashes: frozenset[str]
    moving_parts: int
    cost: int
    alone: bool
    quantity: int | str
    source: Source
    place: Place
    size: tuple[str, ...] = ()
    figures: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    order: tuple[str, ...] = ()
    purpose: str = ""
    label: bool = True
    base: str = ""
    facts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Use:
    """An item, or a family of items, that an arrangement puts on a leaf."""

    item: str
    on: Leaf


@dataclass(frozen=True, slots=True)
class Arrangement:
    """One of the trade's ways to latch a whole opening at once."""

    name: str
    title: str
    fits: Condition
    uses: tuple[Use, ...]
    gives: frozenset[str]
    moving_parts: int
    cost: int
    because: str
    source: Source
    place: Place
    by_listing: bool = False
    brings: tuple[Companion, ...] = ()
    clashes: frozenset[str] = frozenset()
    facts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """A table's row: where it holds and what it gives."""

    when: Condition
    value: str
    place: Place


@dataclass(frozen=True, slots=True)
class Table:
    """A sizing table: exactly one row holds for every complete opening."""

    name: str
    meaning: str
    unit: str
    rows: tuple[Row, ...]
    source: Source
    place: Place
    facts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """A preparation figure: what it is called, what gives it, how it is shown, and why it holds.

    Attributes:
        measure: the named measure that computes it; empty where a table gives it.
        table: the table whose row gives it (parts joined by " x "); empty where a measure does.
        amounts: the amounts the measure works with.
        show: the text, with the parts as ``{0}``, ``{1}`` … in inches; ``{0:feet}``, ``{0:plain}`` (a bare number),
            ``{0:decimal}`` (metal thickness) write a part otherwise.
    """

    name: str
    label: str
    measure: str
    because: str
    source: Source
    place: Place
    facts: tuple[str, ...] = field(default=())
    show: str = "{0}"
    amounts: Mapping[str, tuple[Fraction, ...]] = field(default_factory=dict)
    table: str = ""
