"""Conditions of rules, items and tables: a small grammar over facts, judged over what is still possible."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from advisor.errors import KnowledgeError
from advisor.facts import FactKind
from advisor.yaml_files import Mapping as YamlMapping
from advisor.yaml_files import Place

BOUNDS = ("at_least", "more_than", "at_most", "less_than")


# Conditions are looked up by the ten thousand a turn, so each remembers its hash.


@dataclass(frozen=True, slots=True)
class Compare:
    """A fact is one of some choices, or lies within bounds (``(bound, threshold)`` pairs)."""

    fact: str
    choices: frozenset[str] = frozenset()
    bounds: tuple[tuple[str, Fraction], ...] = ()
    _hash: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash((type(self).__name__, self.fact, self.choices, self.bounds)))

    def __hash__(self) -> int:
        return self._hash

    def holds(self, value: Fraction) -> bool:
        """Whether a number lies within the bounds."""
        return all(
            value >= limit
            if bound == "at_least"
            else value > limit
            if bound == "more_than"
            else value <= limit
            if bound == "at_most"
            else value < limit
            for bound, limit in self.bounds
        )


@dataclass(frozen=True, slots=True)
class Needs:
    """A requirement is in force."""

    requirement: str
    _hash: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash((type(self).__name__, self.requirement)))

    def __hash__(self) -> int:
        return self._hash


@dataclass(frozen=True, slots=True)
class Not:
    """The part does not hold."""

    part: Condition
    _hash: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash((type(self).__name__, self.part)))

    def __hash__(self) -> int:
        return self._hash


@dataclass(frozen=True, slots=True)
class All:
    """Every part holds."""

    parts: tuple[Condition, ...]
    _hash: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash((type(self).__name__, self.parts)))

    def __hash__(self) -> int:
        return self._hash


@dataclass(frozen=True, slots=True)
class AnyOf:
    """At least one part holds."""

    parts: tuple[Condition, ...]
    _hash: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash((type(self).__name__, self.parts)))

    def __hash__(self) -> int:
        return self._hash


Condition = Compare | Needs | Not | All | AnyOf


def walk(condition: Condition) -> Iterator[Condition]:
    """The condition and every part of it."""
    yield condition
    if isinstance(condition, Not):
        yield from walk(condition.part)
    elif isinstance(condition, All | AnyOf):
        for part in condition.parts:
            yield from walk(part)


def facts_read(condition: Condition) -> frozenset[str]:
    """The facts a condition compares."""
    return frozenset(part.fact for part in walk(condition) if isinstance(part, Compare))


def requirements_read(condition: Condition) -> frozenset[str]:
    """The requirements a condition asks after."""
    return frozenset(part.requirement for part in walk(condition) if isinstance(part, Needs))


def number(text: str) -> Fraction:
    """A number as the trade writes it: ``34 13/16``, ``1-3/4``, ``41.5``, ``90``.

    >>> number("34 13/16")
    Fraction(557, 16)

    Raises:
        ValueError: the text is no such number.
    """
    match = re.fullmatch(r"(\d+)[ -](\d+)/(\d+)", text.strip())
    try:
        if match:
            whole, top, bottom = (int(group) for group in match.groups())
            return whole + Fraction(top, bottom)
        return Fraction(text.strip())
    except ZeroDivisionError:
        raise ValueError(text) from None


def number_at(written: Any, place: Place) -> Fraction:
    """The number written at a place.

    Raises:
        KnowledgeError: it is no number.
    """
    try:
        return number(written)
    except (ValueError, AttributeError):
        raise KnowledgeError(place, f"{written!r} is no number. Write it as 36, 1.75 or 34 13/16.") from None


class Reader:
    """Reads conditions from YAML, refusing facts, values and requirements that are not declared."""

    def __init__(self, kinds: Mapping[str, FactKind], requirements: Mapping[str, Any]) -> None:
        self._kinds = kinds
        self._requirements = requirements

    def condition(self, data: object, place: Place) -> Condition:
        """The condition a mapping says; several keys mean all of them.

        Raises:
            KnowledgeError: with the place of what is wrong and what is allowed.
        """
        if not isinstance(data, YamlMapping) or not data:
            raise KnowledgeError(place, "A condition is a mapping with at least one key.")
        parts = [self._part(key, value, data.at(key)) for key, value in data.items()]
        return parts[0] if len(parts) == 1 else All(tuple(parts))

    def _part(self, key: str, value: Any, place: Place) -> Condition:
        if key in ("all", "any"):
            if not isinstance(value, list) or len(value) < 2:
                raise KnowledgeError(place, f"{key!r} takes a list of at least two conditions.")
            parts = tuple(self.condition(entry, place) for entry in value)
            return All(parts) if key == "all" else AnyOf(parts)
        if key == "not":
            return Not(self.condition(value, place))
        if key == "needs":
            if not isinstance(value, str) or value not in self._requirements:
                raise KnowledgeError(place, f"There is no requirement {value!r}.", self._requirements, got=str(value))
            return Needs(value)
        if key not in self._kinds:
            raise KnowledgeError(place, f"There is no fact {key!r}.", [*self._kinds, "all", "any", "not", "needs"], key)
        return self.compare(self._kinds[key], value, place)

    def compare(self, kind: FactKind, value: Any, place: Place) -> Compare:
        """A comparison of one fact with a value, a list of values, or bounds.

        Raises:
            KnowledgeError: the fact can't take the value.
        """
        if isinstance(value, YamlMapping):
            return Compare(kind.name, bounds=self._bounds(kind, value, place))
        values = [value] if isinstance(value, str) else value
        if kind.kind == "quantity":
            if len(values) != 1 or not isinstance(values[0], str):
                raise KnowledgeError(place, f"{kind.name!r} is a quantity: give one number or bounds.", BOUNDS)
            exact = number_at(values[0], place)
            return Compare(kind.name, bounds=(("at_least", exact), ("at_most", exact)))
        if not values:
            raise KnowledgeError(place, f"{kind.name!r} takes at least one value.", [*kind.choices, *kind.groups])
        for entry in values:
            if not isinstance(entry, str) or not kind.finest(entry):
                allowed = [*kind.choices, *kind.groups]
                raise KnowledgeError(place, f"{kind.name!r} can't be {entry!r}.", allowed, got=str(entry))
        return Compare(kind.name, frozenset(finest for entry in values for finest in kind.finest(entry)))

    def _bounds(self, kind: FactKind, value: YamlMapping, place: Place) -> tuple[tuple[str, Fraction], ...]:
        if kind.kind not in ("steps", "quantity"):
            raise KnowledgeError(place, f"{kind.name!r} is no number: it takes no bounds.", kind.choices)
        if not value:
            raise KnowledgeError(place, f"{kind.name!r} takes at least one bound.", BOUNDS)
        for bound in value:
            if bound not in BOUNDS:
                raise KnowledgeError(value.at(bound), f"There is no bound {bound!r}.", BOUNDS, got=bound)
        return tuple((bound, number_at(limit, value.at(bound))) for bound, limit in sorted(value.items()))


def choices_within(compare: Compare, kind: FactKind) -> frozenset[str]:
    """The finest choices a comparison admits; steps within bounds count as choices."""
    if not compare.bounds:
        return compare.choices
    return frozenset(choice for choice in kind.choices if compare.holds(Fraction(choice)))


def sequence_of(parts: Sequence[Condition], joined: type[All] | type[AnyOf]) -> Condition:
    """One condition of several parts; a single part stands for itself."""
    return parts[0] if len(parts) == 1 else joined(tuple(parts))
