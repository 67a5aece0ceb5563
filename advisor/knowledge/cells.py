"""What a fact may still be, as bits.

Rules compare a fact only with declared choices or with thresholds. So the fact's whole range falls into finitely many
*cells* (a choice each; for a quantity each threshold and each stretch between two) inside which no rule can tell two
values apart. What the fact may still be is then the set of cells left, one bit each, and judging is exact.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from advisor.facts import Between, FactKind, OneOf, Possible

WHOLE_UNITS = ("people", "stories", "A")


@dataclass(frozen=True)
class Cells:
    """The cells of one fact.

    Attributes:
        kind: the fact.
        bounds: of a quantity: each cell as (low, high), both open unless equal; None is an open end.
        full: all bits set that some value can reach.
    """

    kind: FactKind
    bounds: tuple[tuple[Fraction | None, Fraction | None], ...]
    full: int

    def mask(self, possible: Possible) -> int:
        """The bits of the cells that hold at least one of the possible values."""
        if isinstance(possible, OneOf):
            return self._choices(possible.values)
        if self.kind.kind != "quantity":
            return self._choices(
                choice
                for choice in self.kind.choices
                if (possible.at_least is None or Fraction(choice) >= possible.at_least)
                and (possible.at_most is None or Fraction(choice) <= possible.at_most)
            )
        mask = 0
        for bit, (low, high) in enumerate(self.bounds):
            above = possible.at_most is not None and low is not None and not _starts_by(low, high, possible.at_most)
            below = possible.at_least is not None and high is not None and not _ends_from(low, high, possible.at_least)
            if not above and not below:
                mask |= 1 << bit
        return mask & self.full

    def _choices(self, values: Iterable[str]) -> int:
        mask = 0
        for value in values:
            for finest in self.kind.finest(value):
                mask |= 1 << self.kind.choices.index(finest)
        return mask

    def possible(self, mask: int) -> Possible:
        """The bits as possible values again: choices, or the range from the lowest to the highest cell left."""
        if self.kind.kind != "quantity":
            return OneOf(frozenset(choice for bit, choice in enumerate(self.kind.choices) if mask >> bit & 1))
        low = self.bounds[(mask & -mask).bit_length() - 1][0]
        high = self.bounds[mask.bit_length() - 1][1]
        return Between(low, high)

    def samples(self, mask: int) -> list[tuple[int, Possible]]:
        """One value of each cell left, with the cell's bit, in order."""
        found: list[tuple[int, Possible]] = []
        for bit in range(mask.bit_length()):
            if not mask >> bit & 1:
                continue
            if self.kind.kind != "quantity":
                found.append((1 << bit, OneOf(frozenset((self.kind.choices[bit],)))))
            else:
                value = self._inside(*self.bounds[bit])
                found.append((1 << bit, Between(value, value)))
        return found

    def _inside(self, low: Fraction | None, high: Fraction | None) -> Fraction:
        if low is not None and low == high:
            return low
        whole = self.kind.unit in WHOLE_UNITS
        if low is None:
            return high - 1 if high is not None else Fraction(0)
        if high is None or whole:
            return low + 1
        return (low + high) / 2


def _starts_by(low: Fraction, high: Fraction | None, limit: Fraction) -> bool:
    return low < limit or (low == high == limit)


def _ends_from(low: Fraction | None, high: Fraction, limit: Fraction) -> bool:
    return high > limit or (low == high == limit)


def cells_of(kind: FactKind, thresholds: Iterable[Fraction]) -> Cells:
    """The cells of a fact, given every threshold any condition or table compares it with."""
    if kind.kind != "quantity":
        return Cells(kind, (), (1 << len(kind.choices)) - 1)
    points = sorted({*thresholds, *(end for end in (kind.low, kind.high) if end is not None)})
    bounds: list[tuple[Fraction | None, Fraction | None]] = []
    previous: Fraction | None = None
    for point in points:
        bounds += [(previous, point), (point, point)]
        previous = point
    bounds.append((previous, None))
    full = 0
    for bit, (low, high) in enumerate(bounds):
        if kind.low is not None and (low is None or low < kind.low):
            continue
        if kind.high is not None and (high is None or high > kind.high):
            continue
        if kind.unit in WHOLE_UNITS and low is not None and high is not None and low != high and high - low <= 1:
            continue
        full |= 1 << bit
    return Cells(kind, tuple(bounds), full)
