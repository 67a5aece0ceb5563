"""What a measure leaves possible of a fact, and what is left of two possibilities or of the opposite of one."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from advisor.facts import Between, FactKind, OneOf, Possible
from advisor.listening.measures import Measure
from advisor.phrasebook.book import Bound


def possible_of(
    measure: Measure, kind: FactKind, bound: Bound, units: str | None, lengths: Mapping[str, Fraction]
) -> Possible | None:
    """What a measure leaves possible of a fact; None where it can't be a measure of it.

    Args:
        measure: the measure.
        kind: the fact's kind.
        bound: how a phrase takes the number: as it is, or as a bound.
        units: the unit of lengths said without one; inches if None.
        lengths: unit words and their inches.
    """
    if kind.kind == "choice":
        value = measure.value
        return OneOf(frozenset({str(value)})) if value is not None and str(value) in kind.choices else None
    if kind.kind == "steps":
        if any(str(option) not in kind.choices for option in measure.options):
            return None
        if bound != "exact" and measure.value is not None:
            low = measure.value if bound == "at_least" else None
            high = measure.value if bound == "at_most" else None
            measure = Measure(measure.kind, measure.start, measure.end, low=low, high=high)
        held = frozenset(step for step in kind.choices if measure.holds(Fraction(step)))
        return OneOf(held) if held else None
    if kind.kind != "quantity":
        return None
    range_ = measure.between(whole=kind.unit not in ("in",))
    low, high = range_.at_least, range_.at_most
    if kind.unit == "in" and measure.kind == "number":
        low, high = (None if end is None else _inches(end, kind, units, lengths) for end in (low, high))
    exact = low if low == high else None
    if bound == "at_least":
        low, high = (low if low is not None else high), None
    elif bound == "at_most":
        low, high = None, (high if high is not None else low)
    for end in (low, high) if exact is None else (exact,):
        if end is not None and (
            (kind.low is not None and end < kind.low) or (kind.high is not None and end > kind.high)
        ):
            return None
    if kind.unit in ("people", "stories") and any(end is not None and end.denominator != 1 for end in (low, high)):
        return None
    return Between(low, high)


def _inches(value: Fraction, kind: FactKind, units: str | None, lengths: Mapping[str, Fraction]) -> Fraction:
    """A bare number as inches: in the unit in use, in feet where inches make no door, in millimeters from 300 on."""
    if units is not None and units in lengths and lengths[units] != 1:
        return value * lengths[units]
    if kind.low is not None and kind.low >= 4 and value < kind.low:
        return value * 12
    return value * Fraction(5, 127) if value >= 300 else value


def complement(possible: Possible, kind: FactKind) -> Possible | None:
    """What is left when something is denied; None where nothing definite is."""
    if isinstance(possible, Between):
        # "Never more than 30 people" is 30 or fewer; of a length the end itself is left open, so nothing is made of it.
        if kind.unit not in ("people", "stories") or (possible.at_least is None) == (possible.at_most is None):
            return None
        low, high = possible.at_least, possible.at_most
        return Between(None, low - 1) if low is not None else Between((high or Fraction(0)) + 1, None)
    rest = frozenset(kind.choices) - possible.values
    return OneOf(rest) if rest else None


def agree(one: Possible, other: Possible) -> Possible:
    """What either of two possibilities leaves possible."""
    if isinstance(one, OneOf) and isinstance(other, OneOf):
        return OneOf(one.values | other.values)
    assert isinstance(one, Between)
    assert isinstance(other, Between)
    lows, highs = (one.at_least, other.at_least), (one.at_most, other.at_most)
    low = None if None in lows else min(end for end in lows if end is not None)
    high = None if None in highs else max(end for end in highs if end is not None)
    return Between(low, high)


def within(one: Possible, other: Possible) -> bool:
    """Whether everything one leaves possible, the other does too."""
    if isinstance(one, OneOf) and isinstance(other, OneOf):
        return one.values <= other.values
    if isinstance(one, Between) and isinstance(other, Between):
        low_ok = other.at_least is None or (one.at_least is not None and one.at_least >= other.at_least)
        high_ok = other.at_most is None or (one.at_most is not None and one.at_most <= other.at_most)
        return low_ok and high_ok
    return False


def overlap(one: Possible, other: Possible) -> Possible | None:
    """What two possibilities leave possible together; None where that is nothing."""
    if isinstance(one, OneOf) and isinstance(other, OneOf):
        both = one.values & other.values
        return OneOf(both) if both else None
    if isinstance(one, Between) and isinstance(other, Between):
        lows = [end for end in (one.at_least, other.at_least) if end is not None]
        highs = [end for end in (one.at_most, other.at_most) if end is not None]
        low, high = max(lows, default=None), min(highs, default=None)
        return None if low is not None and high is not None and low > high else Between(low, high)
    return None
