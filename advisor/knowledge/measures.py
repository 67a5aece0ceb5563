"""The few named functions that work out a measure from the facts of an opening: the only way out of YAML.

A function here is a formula and nothing else. The amounts it works with (a backset, an allowance, stock lengths) stand
in the figure that names it, under ``amounts``. It is written for exact facts; `Measure` runs it over everything the
facts may still be. For that each part of a result may only rise, or only fall, as a quantity grows, except where the
measure names the amount at which it jumps: then the ends of the ranges give the ends of the result.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

from advisor.facts import Between, OneOf, Possible

Amounts = Mapping[str, tuple[Fraction, ...]]
Value = Fraction | str
PAIRS = ("pair", "unequal_pair")
JUST_ABOVE = Fraction(1, 1024)


@dataclass(frozen=True, slots=True)
class Known:
    """One exact case: the facts a measure reads and the amounts its figure gives."""

    facts: Mapping[str, Value]
    amounts: Amounts

    def inches(self, fact: str) -> Fraction:
        """An exact quantity, in the fact's unit."""
        value = self.facts[fact]
        assert isinstance(value, Fraction)
        return value

    def choice(self, fact: str) -> str:
        """A choice."""
        return str(self.facts[fact])

    def amount(self, name: str) -> Fraction:
        """A single amount."""
        return self.amounts[name][0]

    @property
    def other_leaf(self) -> Fraction:
        """Width of the inactive leaf: on an equal pair that of the active one."""
        return self.inches("inactive_leaf_width_in" if self.choice("leaves") == "unequal_pair" else "leaf_width_in")

    @property
    def opening(self) -> Fraction:
        """Width of the opening by the sizes of its leaves."""
        width = self.inches("leaf_width_in")
        return width if self.choice("leaves") == "single" else width + self.other_leaf


Formula = Callable[[Known], Sequence[Fraction] | None]


@dataclass(frozen=True, slots=True)
class Measure:
    """A formula with the facts it reads and the amounts its figure has to give.

    A formula gives None where the measure has no sense: it then does not apply.

    Attributes:
        jumps: a fact and the amount just above which the result jumps, where it does.
    """

    formula: Formula
    reads: tuple[str, ...] = ()
    amounts: tuple[str, ...] = ()
    jumps: tuple[tuple[str, str], ...] = ()

    def compute(self, values: Mapping[str, Possible], amounts: Amounts) -> tuple[Between, ...] | None:
        """The measure's parts, each exact or as the range still possible.

        Args:
            values: what each fact it reads may be.
            amounts: the figure's amounts.

        Returns:
            None where nothing can be said, or where the measure does not apply (then `waits_for` is empty).
        """
        if any(_open(values[fact]) for fact in self.reads):
            return None
        results = [self._case(case, amounts) for case in self._cases(values, amounts)]
        first = results[0]
        if first is None or any(result is None or len(result) != len(first) for result in results):
            return None
        parts = [[result[part] for result in results if result is not None] for part in range(len(first))]
        return tuple(Between(min(part), max(part)) for part in parts)

    def waits_for(self, values: Mapping[str, Possible], amounts: Amounts) -> frozenset[str]:
        """The facts that would have to be exact before the measure is."""
        ends = {fact: self._ends(fact, values[fact], amounts) for fact in self.reads}
        waiting = {fact for fact in self.reads if _open(values[fact])}
        if waiting:
            return frozenset(waiting | {fact for fact in self.reads if len(ends[fact]) > 1})
        for fact in self.reads:
            rest = {other: values[other] for other in self.reads if other != fact}
            for case in self._cases(rest, amounts):
                if len({self._case({**case, fact: value}, amounts) for value in ends[fact]}) > 1:
                    waiting.add(fact)
                    break
        return frozenset(waiting)

    def _cases(self, values: Mapping[str, Possible], amounts: Amounts) -> Iterable[dict[str, Value]]:
        names = [fact for fact in self.reads if fact in values]
        for case in product(*(self._ends(name, values[name], amounts) for name in names)):
            yield dict(zip(names, case, strict=True))

    def _ends(self, fact: str, possible: Possible, amounts: Amounts) -> list[Value]:
        """The values that decide the result: all choices; of a range its ends and both sides of each jump inside."""
        if isinstance(possible, OneOf):
            return sorted(possible.values)
        low, high = possible.at_least, possible.at_most
        found = {end for end in (low, high) if end is not None}
        for jumping, name in self.jumps:
            edge = amounts[name][0]
            if jumping == fact and low is not None and high is not None and low <= edge < high:
                found |= {edge, min(edge + JUST_ABOVE, high)}
        return sorted(found)

    def _case(self, facts: Mapping[str, Value], amounts: Amounts) -> tuple[Fraction, ...] | None:
        result = self.formula(Known(facts, amounts))
        return None if result is None else tuple(result)


def _open(possible: Possible) -> bool:
    return isinstance(possible, Between) and (possible.at_least is None or possible.at_most is None)


def stock(sizes: Iterable[Fraction], least: Fraction) -> Fraction | None:
    """The smallest stock size that is at least so long; None where none is.

    >>> stock((Fraction(12), Fraction(18), Fraction(24)), Fraction(14))
    Fraction(18, 1)
    """
    return min((size for size in sizes if size >= least), default=None)


def _given(known: Known) -> Sequence[Fraction]:
    return known.amounts["given"]


def _strike_centre(known: Known) -> Sequence[Fraction] | None:
    """From the centre of the opening to the bolt's strike, towards the inactive leaf."""
    if known.choice("leaves") not in PAIRS:
        return None
    off_centre = (known.inches("leaf_width_in") - known.other_leaf) / 2
    return (off_centre + known.inches("meeting_edge_gap_in") / 2 + known.amount("backset"),)


def _meeting_line(known: Known) -> Sequence[Fraction] | None:
    """From the centre of the opening to where unequal leaves meet, and from there to the bolt's strike."""
    if known.choice("leaves") != "unequal_pair":
        return None
    off_centre = (known.inches("leaf_width_in") - known.other_leaf) / 2
    return off_centre, known.inches("meeting_edge_gap_in") / 2 + known.amount("backset")


def _mortise(known: Known) -> Sequence[Fraction]:
    """What a mortise takes beyond the faceplate, the bit, and the radius the bit leaves in the corners."""
    return known.amount("allowance"), known.amount("bit"), known.amount("bit") / 2


def _top_bolt(known: Known) -> Sequence[Fraction]:
    """Height of a top bolt's centre above the bottom of the leaf, by its rod."""
    return (known.inches("leaf_height_in") - known.amount("rod"),)


def _rod_within_reach(known: Known) -> Sequence[Fraction] | None:
    """The shortest stock rod that brings the top bolt down to reach, and that reach."""
    reach = known.amount("reach")
    rod = stock(known.amounts["rods"], known.inches("leaf_height_in") - reach)
    return None if rod is None else (rod, reach)


def _between_stops(known: Known) -> Fraction:
    return known.opening - 2 * known.amount("stop")


def _coordinator(known: Known) -> tuple[Fraction, Fraction, Fraction] | None:
    if known.choice("leaves") not in PAIRS:
        return None
    active = known.inches("leaf_width_in")
    least = active + known.amount("overlap")
    return max(active + known.other_leaf / 2, least), least, _between_stops(known)


def _filler(known: Known) -> Sequence[Fraction] | None:
    """What the coordinator leaves of the stop line."""
    bar = _coordinator(known)
    return None if bar is None else (max(bar[2] - bar[0], Fraction(0)),)


def _hinge_backset(known: Known) -> Fraction:
    thick = known.inches("thickness_in") > known.amount("thick_above")
    return known.amount("thick_backset" if thick else "backset")


def _hinge_width(known: Known) -> Sequence[Fraction] | None:
    """The least width a hinge needs to swing clear of trim, and the next stock width."""
    least = 2 * (known.inches("thickness_in") - _hinge_backset(known)) + known.amount("clearance")
    width = stock(known.amounts["widths"], least)
    return None if width is None else (least, width)


def _hinge_clears(known: Known) -> Sequence[Fraction]:
    """How far trim may stand out before a hinge of this width binds on it."""
    clears = known.amount("width") - 2 * (known.inches("thickness_in") - _hinge_backset(known))
    return (max(clears, Fraction(0)),)


def _plate_width(known: Known) -> Sequence[Fraction]:
    alone = known.choice("leaves") == "single" or known.choice("removable_mullion_accepted") == "yes"
    return (known.inches("leaf_width_in") - known.amount("less_single" if alone else "less_pair"),)


def _clear_width(known: Known) -> Sequence[Fraction]:
    """Clear width with one leaf open at 90 degrees on butt hinges; on a pair the other leaf stays shut."""
    door = known.inches("thickness_in") + known.amount("pin") + known.amount("play")
    single = known.choice("leaves") == "single"
    lost = known.amount("stop") if single else known.inches("meeting_edge_gap_in") / 2
    return (known.inches("leaf_width_in") - door - lost,)


def _swing_clear_width(known: Known) -> Sequence[Fraction] | None:
    return (_between_stops(known),) if known.choice("leaves") == "single" else None


def _strike_lip(known: Known) -> Sequence[Fraction] | None:
    """From the centre of the strike to the end of its lip; a strike on another leaf has its own short lip."""
    if known.choice("leaves") != "single":
        return None
    half = known.inches("thickness_in") / 2
    return (half + known.amount("inset") + known.amount("trim") + known.amount("lip"),)


def _half_leaf(known: Known) -> Sequence[Fraction]:
    return (known.inches("leaf_width_in") / 2,)


def _leaf_weight(known: Known) -> Sequence[Fraction] | None:
    """Weight of one leaf in pounds, from pounds a square foot of its material."""
    a_foot = known.amounts.get(known.choice("door_material"))
    if a_foot is None:
        return None
    return (known.inches("leaf_width_in") * known.inches("leaf_height_in") / 144 * a_foot[0],)


def _net_leaf(known: Known) -> Sequence[Fraction]:
    """The door itself, width and height, within its nominal share of the opening."""
    gap = known.amount("gap")
    beside = gap if known.choice("leaves") == "single" else known.inches("meeting_edge_gap_in") / 2
    width = known.inches("leaf_width_in") - gap - beside
    return width, known.inches("leaf_height_in") - gap - known.inches("undercut_in")


def _opening(known: Known) -> Sequence[Fraction]:
    return known.opening, known.inches("leaf_height_in")


def _leaf(known: Known) -> Sequence[Fraction]:
    return known.inches("leaf_width_in"), known.inches("leaf_height_in")


def _undercut(known: Known) -> Sequence[Fraction]:
    return (known.inches("undercut_in"),)


_WIDTHS = ("leaves", "leaf_width_in", "inactive_leaf_width_in")
_HINGE = ("backset", "thick_backset", "thick_above")
_BACKSET_JUMPS = (("thickness_in", "thick_above"),)

MEASURES: Mapping[str, Measure] = {
    "given": Measure(_given, (), ("given",)),
    "strike_centre": Measure(_strike_centre, (*_WIDTHS, "meeting_edge_gap_in"), ("backset",)),
    "meeting_line": Measure(_meeting_line, (*_WIDTHS, "meeting_edge_gap_in"), ("backset",)),
    "mortise": Measure(_mortise, (), ("allowance", "bit")),
    "top_bolt": Measure(_top_bolt, ("leaf_height_in",), ("rod",)),
    "rod_within_reach": Measure(_rod_within_reach, ("leaf_height_in",), ("reach", "rods")),
    "coordinator": Measure(_coordinator, _WIDTHS, ("overlap", "stop")),
    "filler": Measure(_filler, _WIDTHS, ("overlap", "stop")),
    "hinge_width": Measure(_hinge_width, ("thickness_in",), (*_HINGE, "clearance", "widths"), _BACKSET_JUMPS),
    "hinge_clears": Measure(_hinge_clears, ("thickness_in",), (*_HINGE, "width"), _BACKSET_JUMPS),
    "plate_width": Measure(
        _plate_width, ("leaves", "leaf_width_in", "removable_mullion_accepted"), ("less_single", "less_pair")
    ),
    "clear_width": Measure(
        _clear_width, ("leaves", "leaf_width_in", "thickness_in", "meeting_edge_gap_in"), ("stop", "pin", "play")
    ),
    "swing_clear_width": Measure(_swing_clear_width, _WIDTHS, ("stop",)),
    "strike_lip": Measure(_strike_lip, ("leaves", "thickness_in"), ("inset", "trim", "lip")),
    "half_leaf": Measure(_half_leaf, ("leaf_width_in",)),
    "leaf_weight": Measure(_leaf_weight, ("door_material", "leaf_width_in", "leaf_height_in")),
    "net_leaf": Measure(
        _net_leaf, ("leaves", "leaf_width_in", "leaf_height_in", "meeting_edge_gap_in", "undercut_in"), ("gap",)
    ),
    "opening": Measure(_opening, (*_WIDTHS, "leaf_height_in")),
    "leaf": Measure(_leaf, ("leaf_width_in", "leaf_height_in")),
    "undercut": Measure(_undercut, ("undercut_in",)),
}
