"""A second, deliberately simple judge of complete openings, to hold the engine against.

It shares with the engine only the records read from the files. It knows one value for every fact, evaluates conditions
by plain recursion, and therefore needs no three-valued logic, no bits, no implications and no presumed values: where
every fact has a value there is nothing left to imply or presume.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from advisor.facts import Between, FactKind, OneOf, Possible
from advisor.knowledge.conditions import All, AnyOf, Compare, Condition, Needs, Not
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.parts import Arrangement, Companion, Item, Rule

Value = str | Fraction
Opening = Mapping[str, Value]


@dataclass(frozen=True)
class SetLine:
    """One line of a set as it lies on the counter."""

    leaf: str
    item: str
    quantity: int


def value_of(possible: Possible) -> Value:
    """The one value a possible value of a single cell stands for."""
    if isinstance(possible, Between):
        assert possible.exact is not None
        return possible.exact
    (value,) = possible.values
    return value


def compares(compare: Compare, value: Value) -> bool:
    """Whether a comparison holds of a value."""
    if not compare.bounds:
        return value in compare.choices
    number = Fraction(value)
    for bound, limit in compare.bounds:
        if bound == "at_least" and not number >= limit:
            return False
        if bound == "more_than" and not number > limit:
            return False
        if bound == "at_most" and not number <= limit:
            return False
        if bound == "less_than" and not number < limit:
            return False
    return True


class PlainJudge:
    """What the rules say of one complete opening, and whether a set is acceptable for it."""

    def __init__(self, graph: KnowledgeGraph, opening: Opening) -> None:
        self.graph, self.opening = graph, opening
        pair = opening["leaves"] != "single"
        self.leaves = ("active", "inactive") if pair else ("active",)
        self._required: dict[str, bool] = {}

    def holds(self, condition: Condition | None) -> bool:
        if condition is None:
            return True
        if isinstance(condition, Compare):
            return compares(condition, self.opening[condition.fact])
        if isinstance(condition, Needs):
            return self.required(condition.requirement)
        if isinstance(condition, Not):
            return not self.holds(condition.part)
        if isinstance(condition, All):
            return all(self.holds(part) for part in condition.parts)
        assert isinstance(condition, AnyOf)
        return any(self.holds(part) for part in condition.parts)

    def applies(self, rule: Rule) -> bool:
        """Whether a rule's condition holds and no exception lifts it."""
        if not self.holds(rule.condition):
            return False
        return not any(self.holds(lifting.condition) for lifting in _lifting(self.graph, rule.name))

    def required(self, name: str) -> bool:
        if name not in self._required:
            self._required[name] = any(self.applies(rule) for rule in _imposing(self.graph, "requires", name))
        return self._required[name]

    def forbidden(self, name: str) -> bool:
        return any(self.applies(rule) for rule in _imposing(self.graph, "forbids", name))

    def is_a(self, item: str, family: str) -> bool:
        if item == family:
            return True
        parents = self.graph.items[item].is_a if item in self.graph.items else ()
        return any(self.is_a(parent, family) for parent in parents)

    def places(self, on: str) -> tuple[str, ...]:
        """Where something on the opening, each leaf or one leaf has to be; nowhere for a leaf that is not there."""
        if on == "opening":
            return ("opening",)
        if on == "each":
            return self.leaves
        return tuple(leaf for leaf in self.leaves if leaf == on)

    def gives(self, gives: Collection[str], on: str, name: str, place: str) -> bool:
        """Whether something that gives these things, fitted there, gives one of them to a place."""
        if name not in gives:
            return False
        return place == "opening" or on in ("each", "opening") or on == place

    def wanted(self) -> list[str]:
        """The requirements in force that hardware, or a specialist, has to answer."""
        asked = (name for name, each in self.graph.requirements.items() if not each.trait and not each.listed)
        return sorted(name for name in asked if self.required(name))

    def missing(self, lines: Sequence[SetLine], arrangement: str | None) -> list[str]:
        """The requirements in force that a set does not give on every place they ask for."""
        return [name for name in self.wanted() if not self._given(name, lines, arrangement)]

    def _given(self, name: str, lines: Sequence[SetLine], arrangement: str | None) -> bool:
        requirement = self.graph.requirements[name]
        given = self.graph.arrangements[arrangement].gives if arrangement else frozenset()
        return not requirement.met_by_nothing and all(
            self.gives(given, "each", name, place)
            or any(self.gives(self.graph.items[line.item].gives, line.leaf, name, place) for line in lines)
            for place in self.places(requirement.on)
        )

    def faults(self, lines: Sequence[SetLine], arrangement: str | None, unmet: Sequence[str]) -> list[str]:
        """Everything that makes a set unacceptable for this opening, each in words; none for a good set."""
        found = [f"{name} is in force, neither met nor listed" for name in self.missing(lines, arrangement)]
        found = [text for text in found if text.split(" ", 1)[0] not in unmet]
        found += [f"{name} is listed as unmet but not in force" for name in unmet if not self.required(name)]
        holders: list[tuple[Item | Arrangement, str]] = [(self.graph.items[line.item], line.leaf) for line in lines]
        if arrangement:
            holders.append((self.graph.arrangements[arrangement], "each"))
            for use in self.graph.arrangements[arrangement].uses:
                if not self._present(use.item, self.places(use.on), lines):
                    found.append(f"{arrangement} lacks {use.item}")
        for part, leaf in holders:
            found += [f"{part.name} has {name}, which is forbidden" for name in part.gives if self.forbidden(name)]
            if not self.holds(part.fits):
                found.append(f"{part.name} does not fit")
            for companion in part.brings:
                if self.holds(companion.when) and not self._present(
                    companion.item, self._companion_places(companion, leaf), lines
                ):
                    found.append(f"{part.name} lacks its companion {companion.item}")
            for other in lines:
                if other.item != part.name and any(self.is_a(other.item, clash) for clash in part.clashes):
                    found.append(f"{part.name} clashes with {other.item}")
        found += [
            f"{line.item} on {line.leaf}: not {line.quantity}" for line in lines if not self._counted(line, lines)
        ]
        return found

    def _companion_places(self, companion: Companion, leaf: str) -> tuple[str, ...]:
        on = leaf if companion.on == "each" and leaf in self.leaves else companion.on
        return self.places(on)

    def _present(self, family: str, places: Sequence[str], lines: Sequence[SetLine]) -> bool:
        there = [line.leaf for line in lines if self.is_a(line.item, family)]
        return all(place in there or (place in self.leaves and "each" in there) for place in places)

    def amount(self, item: Item) -> int:
        """How many of an item one leaf, or the opening, takes; exactly one row of its table must hold."""
        if isinstance(item.quantity, int):
            return item.quantity
        rows = [row.value for row in self.graph.tables[item.quantity].rows if self.holds(row.when)]
        assert len(rows) == 1, f"{len(rows)} rows of {item.quantity} hold"
        return int(rows[0])

    def _counted(self, line: SetLine, lines: Sequence[SetLine]) -> bool:
        """Whether a line's quantity is its item's, on as many leaves, as often as what brought it says."""
        times = {
            companion.quantity
            for other in lines
            for companion in self.graph.items[other.item].brings
            if self.is_a(line.item, companion.item) and self.holds(companion.when)
        } or {1}
        one = self.amount(self.graph.items[line.item]) * (len(self.leaves) if line.leaf == "each" else 1)
        return line.quantity in {one * time for time in times}

    def fewest_unmet(self) -> int:
        """How many demands must stay open at least, by trying every arrangement, make-up and item in turn."""
        best = [len(self.wanted()) + 1]
        for name in (*sorted(self.graph.arrangements), None):
            if name is None:
                self._try_make_up((), None, (), frozenset(), best)
                continue
            arrangement = self.graph.arrangements[name]
            if self.holds(arrangement.fits) and not any(self.forbidden(trait) for trait in arrangement.gives):
                parts = [(use.item, use.on, 1) for use in arrangement.uses]
                for companion in arrangement.brings:
                    if self.holds(companion.when):
                        parts.append((companion.item, companion.on, companion.quantity))
                self._try_make_up(parts, arrangement, (), frozenset(), best)
        return best[0]

    def _try_make_up(
        self,
        parts: Sequence[tuple[str, str, int]],
        arrangement: Arrangement | None,
        lines: tuple[SetLine, ...],
        given_up: frozenset[str],
        best: list[int],
    ) -> None:
        name = arrangement.name if arrangement else None
        if parts:
            (family, on, times), *rest = parts
            if not self.places(on) or (lines and self._present(family, self.places(on), lines)):
                self._try_make_up(rest, arrangement, lines, given_up, best)
                return
            for item in sorted(self.graph.items):
                if self.is_a(item, family) and not self._is_family(item):
                    self._try_item(item, on, times, rest, arrangement, lines, given_up, best)
            return
        missing = self.missing(lines, name)
        left = {each for each in missing if self.graph.requirements[each].met_by_nothing} | given_up
        if len(left) >= best[0]:
            return
        trying = [each for each in missing if each not in left]
        if not trying:
            best[0] = len(left)
            return
        for item in sorted(self.graph.items):
            holder, on = self.graph.items[item], self.graph.requirements[trying[0]].on
            if holder.alone and trying[0] in holder.gives:
                self._try_item(item, on, 1, (), arrangement, lines, given_up, best)
        self._try_make_up((), arrangement, lines, given_up | {trying[0]}, best)

    def _try_item(
        self,
        name: str,
        on: str,
        times: int,
        rest: Sequence[tuple[str, str, int]],
        arrangement: Arrangement | None,
        lines: tuple[SetLine, ...],
        given_up: frozenset[str],
        best: list[int],
    ) -> None:
        item = self.graph.items[name]
        barred = not self.holds(item.fits) or any(self.forbidden(trait) for trait in item.gives)
        beside = [self.graph.items[line.item] for line in lines]
        clashing = any(self.is_a(name, clash) for other in beside for clash in other.clashes)
        clashing |= any(self.is_a(other.name, clash) for other in beside for clash in item.clashes)
        clashing |= arrangement is not None and any(self.is_a(name, clash) for clash in arrangement.clashes)
        if barred or clashing:
            return
        leaf = self.leaves[0] if on == "each" and len(self.leaves) == 1 else on
        brought = [
            (each.item, leaf if each.on == "each" and leaf in self.leaves else each.on, each.quantity)
            for each in item.brings
            if self.holds(each.when)
        ]
        line = SetLine(leaf, name, self.amount(item) * times)
        self._try_make_up([*brought, *rest], arrangement, (*lines, line), given_up, best)

    def _is_family(self, name: str) -> bool:
        return any(name in other.is_a for other in self.graph.items.values())


def _lifting(graph: KnowledgeGraph, name: str) -> Sequence[Rule]:
    return _of(graph, "lifts", name)


def _imposing(graph: KnowledgeGraph, effect: str, name: str) -> Sequence[Rule]:
    return _of(graph, effect, name)


_BY_TARGET: dict[int, dict[tuple[str, str], list[Rule]]] = {}


def _of(graph: KnowledgeGraph, effect: str, target: str) -> Sequence[Rule]:
    if id(graph) not in _BY_TARGET:
        found: dict[tuple[str, str], list[Rule]] = {}
        for rule in graph.rules.values():
            for each in rule.targets:
                found.setdefault((rule.effect, each), []).append(rule)
        _BY_TARGET[id(graph)] = found
    return _BY_TARGET[id(graph)].get((effect, target), ())


class Openings:
    """Draws random openings with every fact known, one value of each cell the rules tell apart."""

    USUAL: Mapping[str, str] = {
        "door_material": "hollow_metal",
        "frame_material": "hollow_metal",
        "fire_rating_minutes": "0",
        "wall_kind": "unrated_wall",
        "wall_rating_minutes": "0",
        "smoke_rated": "no",
        "occupancy": "business",
        "room_use": "office",
        "normally_occupied": "yes",
        "sprinklered": "yes",
        "egress": "yes",
        "inactive_leaf_needed_for_egress": "no",
        "exterior": "no",
        "accessible_route": "yes",
        "swing": "with_egress",
        "existing_door": "no",
        "field_preparation": "already_prepared",
        "authority_accepts_manual_bolts": "no",
        "wood_door_category": "category_a",
        "listing_wants_overlapping_astragal": "no",
        "beds_move": "no",
        "wall_also_fire_barrier": "no",
        "code": "ibc_2021",
        "life_safety_code": "no",
    }
    """What an ordinary opening is like where nothing is drawn; presumed values stand for themselves."""

    SIZES: Mapping[str, Fraction] = {
        "occupant_load": Fraction(20),
        "electrical_equipment_amps": Fraction(200),
        "leaf_width_in": Fraction(36),
        "inactive_leaf_width_in": Fraction(36),
        "leaf_height_in": Fraction(84),
        "stories_connected": Fraction(2),
    }

    def __init__(self, graph: KnowledgeGraph, seed: int) -> None:
        self.graph, self.random = graph, random.Random(seed)
        self.values: dict[str, list[Value]] = {
            name: [value_of(possible) for _, possible in cells.samples(cells.full)]
            for name, cells in graph.cells.items()
        }

    def any_value(self, fact: str) -> Value:
        return self.random.choice(self.values[fact])

    def wild(self) -> dict[str, Value]:
        """Every fact drawn by itself, however little it goes with the others."""
        return {fact: self.any_value(fact) for fact in self.values}

    def plausible(self) -> dict[str, Value]:
        """An ordinary opening with a few facts drawn."""
        drawn = {"leaves", *self.random.sample(sorted(self.values), self.random.randint(2, 10))}
        return {fact: self.any_value(fact) if fact in drawn else self.usual(fact) for fact in self.values}

    def usual(self, fact: str) -> Value:
        kind = self.graph.kinds[fact]
        if fact in self.SIZES:
            return self.SIZES[fact]
        if kind.presumed is not None:
            return presumed(kind)
        return self.USUAL.get(fact) or self.values[fact][0]


def presumed(kind: FactKind) -> Value:
    """The value presumed of a fact."""
    assert kind.presumed is not None
    if kind.kind != "quantity":
        return kind.presumed
    return sum((Fraction(part) for part in kind.presumed.split()), Fraction(0))


def possible(kind: FactKind, value: Value) -> Possible:
    """A value as what a sheet holds."""
    if kind.kind == "quantity":
        assert isinstance(value, Fraction)
        return Between(value, value)
    return OneOf(frozenset((str(value),)))


class Completions:
    """Draws complete openings within what is left, with what is implied of them, or presumed, taken as true."""

    def __init__(self, graph: KnowledgeGraph, seed: int) -> None:
        self.graph, self.random = graph, random.Random(seed)
        self.cells = {
            name: [(bit, value_of(each)) for bit, each in cells.samples(cells.full)]
            for name, cells in graph.cells.items()
        }

    def within(self, state: Sequence[int], said: Sequence[int] | None = None) -> dict[str, Value]:
        """One opening, fact by fact, causes first.

        Args:
            state: the bits each value must be among.
            said: the bits the customer's own words leave. A fact nothing was said of takes its presumed value where
                nothing is implied of it; by default no fact is presumed.
        """
        opening: dict[str, Value] = {"leaves": "single"}
        judge = PlainJudge(self.graph, opening)
        for fact in self.graph.fact_order:
            at, kind = self.graph.fact_index[fact], self.graph.kinds[fact]
            left = [value for bit, value in self.cells[fact] if bit & state[at]]
            values = left
            for rule in _of(self.graph, "implies", fact):
                if rule.implied and judge.applies(rule):
                    values = [value for value in values if compares(rule.implied, value)] or values
            unsaid = said is not None and said[at] == self.graph.cells[fact].full
            if unsaid and values == left and kind.presumed is not None:
                values = [value for value in left if value == presumed(kind)] or left
            opening[fact] = self.random.choice(values)
        return opening
