"""Door sizes as leaf sizes. A code with "pair" may give the leaf or the whole opening."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from advisor.facts import Between, OneOf, Possible
from advisor.listening.measures import Measure
from advisor.listening.sentence import Part

# A code at least this wide, said of a pair, is the whole opening; from the lower width on it is, beside "PR". Inches.
# Common practice of the trade: PR after a code means the code is the total opening.
OPENING, MAYBE_OPENING = 60, 48

_PAIRS = frozenset({"pair", "unequal_pair", "double_egress_pair"})
_CODE_PAIR = frozenset({"pr", "pair", "dbl"})
_PLUS = frozenset({"+", "&", "and", "with", "plus", "/", "the", "other", "leaf", ",", "one", "is", "a"})


@dataclass(frozen=True, slots=True)
class Leaf:
    """A fact a size gives; ``implied`` where it only follows from it."""

    part: Part
    fact: str
    possible: Possible
    start: int
    end: int
    implied: bool = False


@dataclass(frozen=True, slots=True)
class Unclear:
    """A size that may be a leaf's or the whole opening's."""

    part: Part
    readings: tuple[str, ...]


def leaf_sizes(parts: Sequence[Part], words: Sequence[str]) -> Iterator[Leaf | Unclear]:
    """The leaf sizes the parts of one opening give."""
    sized = [(part, part.measure) for part in parts if part.measure is not None and part.measure.kind == "size"]
    leaves = _leaves(parts)
    if not sized:
        yield from _two_lengths(parts, words, leaves)
    other = _other_width(parts, sized, words, leaves)
    if other is not None:
        yield from _unequal(other, sized[0])
        sized = sized[1:]
    elif len(sized) >= 2 and _are_unequal(sized[0][0], sized[1][0], words, leaves):
        yield from _unequal(sized[0], sized[1])
        sized = sized[2:]
    for part, measure in sized:
        assert measure is not None
        width, height = measure.size[:2]
        start, end = part.start, part.end
        if words[max(0, part.start - 1) : part.start] in (["inactive"], ["inact"]):
            yield Leaf(part, "inactive_leaf_width_in", _exactly(width), start, end)
            yield Leaf(part, "leaf_height_in", _exactly(height), start, end)
            continue
        if len(measure.size) > 2:
            yield Leaf(part, "thickness_in", _exactly(measure.size[2]), start, end)
        yield Leaf(part, "leaf_height_in", _exactly(height), start, end)
        said = _said_of(part, measure, parts, words, leaves)
        if said == "leaf":
            yield Leaf(part, "leaf_width_in", _exactly(width), start, end)
        elif said == "half":
            yield Leaf(part, "leaf_width_in", _exactly(width / 2), start, end)
        elif said == "opening":
            yield Unclear(part, ("reading_width_of_unequal_opening", "reading_width_of_active_leaf"))
        elif said == "wide":
            yield Unclear(part, ("reading_wide_pair", "reading_wide_single"))
        else:
            yield Unclear(part, ("reading_width_of_leaf", "reading_width_of_opening"))


def _other_width(
    parts: Sequence[Part], sized: Sequence[tuple[Part, Measure | None]], words: Sequence[str], leaves: frozenset[str]
) -> tuple[Part, Measure] | None:
    """The other leaf's width before the size of an unequal pair: "3-0 and 1-6 x 7-0"."""
    if len(sized) != 1 or not leaves & {"unequal_pair", "pair"}:
        return None
    size_part, size = sized[0]
    for part in parts:
        measure = part.measure
        joint = set(words[part.end : size_part.start])
        if measure is None or measure.kind != "length" or measure.value is None or part.end > size_part.start:
            continue
        if size is not None and joint & {"and", "+", "&", "/"} and joint <= _PLUS:
            return part, Measure("size", measure.start, measure.end, size=(measure.value, size.size[1]))
    return None


def _two_lengths(parts: Sequence[Part], words: Sequence[str], leaves: frozenset[str]) -> Iterator[Leaf]:
    """The widths of the two leaves of a pair said one after the other: "pair, 4-0 and 2-0"."""
    lengths = [part for part in parts if part.measure is not None and part.measure.kind == "length"]
    for one, other in pairwise(lengths if leaves & _PAIRS else ()):
        joint = set(words[one.end : other.start])
        first, second = _width(one), _width(other)
        if first is None or second is None or not (joint & {"and", "+", "&", "/"} and joint <= _PLUS):
            continue
        (wide, width), (narrow, rest) = sorted([(one, first), (other, second)], key=lambda each: -each[1])
        yield Leaf(wide, "leaf_width_in", _exactly(width), wide.start, wide.end)
        if width != rest:
            yield Leaf(narrow, "inactive_leaf_width_in", _exactly(rest), narrow.start, narrow.end)
            yield Leaf(wide, "leaves", OneOf(frozenset({"unequal_pair"})), one.start, other.end)
        return


def _width(part: Part) -> Fraction | None:
    """The length a part is, where a leaf can be so wide."""
    value = part.measure.value if part.measure is not None else None
    return value if value is not None and 12 <= value <= OPENING and not (part.denied or part.dropped) else None


def _exactly(value: Fraction) -> Between:
    return Between(value, value)


def _leaves(parts: Sequence[Part]) -> frozenset[str]:
    """The kinds of leaves the opening was said to have; empty where nothing was said."""
    for part in parts:
        said = part.term.says.get("leaves") if part.term is not None else None
        if isinstance(said, OneOf) and not part.denied and not part.dropped and not part.asked:
            return said.values
    return frozenset()


def _said_of(part: Part, measure: Measure, parts: Sequence[Part], words: Sequence[str], leaves: frozenset[str]) -> str:
    width = measure.size[0]
    if not leaves & _PAIRS:
        return "leaf" if width < OPENING or leaves == {"single"} else "wide"
    each = {"each", "leaf", "leaves", "apiece"} & {
        *words[part.end : part.end + 2],
        *words[max(0, part.start - 2) : part.start],
    }
    if each:
        return "leaf"
    if width >= OPENING:
        return "opening" if leaves == {"unequal_pair"} else "half"
    before, after = words[max(0, part.start - 2) : part.start], words[part.end : part.end + 1]
    if (before and before[-1] == "of") or measure.plural:
        return "leaf"
    beside = (bool(before) and before[-1] in _CODE_PAIR) or (bool(after) and after[0] in _CODE_PAIR)
    if beside:
        if width < MAYBE_OPENING:
            return "either" if measure.code else "leaf"
        return "either" if leaves == {"unequal_pair"} else "half"
    return "leaf" if width < MAYBE_OPENING else "either"


def _are_unequal(one: Part, other: Part, words: Sequence[str], leaves: frozenset[str]) -> bool:
    gap = words[one.end : other.start]
    if "unequal_pair" in leaves and len(leaves) == 1:
        return True
    if "+" in gap or "&" in gap:
        return len(gap) <= 2
    return bool(leaves & _PAIRS) and len(gap) <= 4 and set(gap) <= _PLUS


def _unequal(one: tuple[Part, Measure | None], other: tuple[Part, Measure | None]) -> Iterator[Leaf]:
    first, second = one[1], other[1]
    assert first is not None
    assert second is not None
    (wide, wide_size), (narrow, narrow_size) = (one[0], first.size), (other[0], second.size)
    if wide_size[0] < narrow_size[0]:
        (wide, wide_size), (narrow, narrow_size) = (narrow, narrow_size), (wide, wide_size)
    start, end = one[0].start, other[0].end
    yield Leaf(wide, "leaf_height_in", _exactly(wide_size[1]), wide.start, wide.end)
    yield Leaf(wide, "leaf_width_in", _exactly(wide_size[0]), wide.start, wide.end)
    if wide_size[0] == narrow_size[0]:
        yield Leaf(wide, "leaves", OneOf(frozenset({"pair"})), start, end)
        return
    yield Leaf(narrow, "inactive_leaf_width_in", _exactly(narrow_size[0]), narrow.start, narrow.end)
    yield Leaf(wide, "leaves", OneOf(frozenset({"unequal_pair"})), start, end)
