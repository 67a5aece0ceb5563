"""The knowledge graph: a networkx graph from cause to effect, with everything judging needs worked out once.

Nodes are text with their kind in front: ``fact:``, ``value:fact=choice``, ``rule:``, ``requirement:``,
``arrangement:``, ``item:``, ``source:``. Edges run from cause to effect: value → rule (derived from the rule's
condition), rule → requirement, rule → rule (an exception), rule → value (an implication), requirement → item,
arrangement → item, item → item (brings, clashes), rule → source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain

import networkx as nx

from advisor.errors import KnowledgeError, RuleCycle
from advisor.facts import Between, FactKind, OneOf
from advisor.knowledge.cells import Cells, cells_of
from advisor.knowledge.conditions import (
    Compare,
    Condition,
    Needs,
    choices_within,
    facts_read,
    number,
    requirements_read,
    walk,
)
from advisor.knowledge.parts import Arrangement, Figure, Item, Requirement, Rule, Table, Work


@dataclass(frozen=True)
class Parts:
    """Everything the files hold, by name."""

    kinds: Mapping[str, FactKind]
    requirements: Mapping[str, Requirement]
    works: Mapping[str, Work]
    rules: Mapping[str, Rule]
    items: Mapping[str, Item]
    arrangements: Mapping[str, Arrangement]
    tables: Mapping[str, Table]
    figures: Mapping[str, Figure]


class KnowledgeGraph:
    """Typed look-ups over the networkx graph. Built once, never changed.

    Raises:
        KnowledgeError: a name leads nowhere.
        RuleCycle: implications or requirements wait for each other.
    """

    def __init__(self, parts: Parts, fingerprint: str) -> None:
        self.fingerprint = fingerprint
        self.kinds, self.requirements, self.works = parts.kinds, parts.requirements, parts.works
        self.rules, self.items, self.arrangements = parts.rules, parts.items, parts.arrangements
        self.tables, self.figures = parts.tables, parts.figures
        self.fact_index = {name: index for index, name in enumerate(sorted(self.kinds))}
        self.requirement_index = {name: index for index, name in enumerate(sorted(self.requirements))}
        self._masks: dict[Compare, int] = {}
        self._check_names()
        self.conditions = list(self._all_conditions())
        self.cells = self._cells()
        lifting = self._by_target("lifts")
        self.lifted_by: dict[str, tuple[Rule, ...]] = {name: lifting.get(name, ()) for name in self.rules}
        self.requiring = self._by_target("requires")
        self.forbidding = self._by_target("forbids")
        self.implying = self._by_target("implies")
        self.fact_order = self._fact_order()
        self.requirement_order = self._requirement_order()
        self.families = self._families()
        self.nx = self._build()

    def _rules_with(self, effect: str) -> list[Rule]:
        return [rule for _, rule in sorted(self.rules.items()) if rule.effect == effect]

    def _by_target(self, effect: str) -> dict[str, tuple[Rule, ...]]:
        found: dict[str, list[Rule]] = {}
        for rule in self._rules_with(effect):
            for target in rule.targets:
                found.setdefault(target, []).append(rule)
        return {target: tuple(rules) for target, rules in sorted(found.items())}

    def cautioning(self) -> list[Rule]:
        """The rules that show a caution, by name."""
        return self._rules_with("cautions")

    def _check_names(self) -> None:
        families = {family for item in self.items.values() for family in item.is_a}
        for rule in self._rules_with("lifts"):
            for target in rule.targets:
                if target not in self.rules:
                    raise KnowledgeError(rule.place, f"There is no rule {target!r} to lift.", self.rules, got=target)
                if self.rules[target].effect == "lifts":
                    raise KnowledgeError(rule.place, f"{target!r} is itself an exception and can't be lifted.")
        for part in self.hardware():
            names = [companion.item for companion in part.brings]
            names += part.clashes
            if isinstance(part, Arrangement):
                names += [use.item for use in part.uses]
            for name in names:
                if name not in self.items and name not in families:
                    allowed = [*self.items, *families]
                    raise KnowledgeError(part.place, f"There is no item {name!r}.", allowed, got=name)
            if isinstance(part, Item):
                if part.name in self._parents(part.name, frozenset()):
                    raise KnowledgeError(part.place, f"{part.name!r} is a kind of itself.")
                if isinstance(part.quantity, str) and part.quantity not in self.tables:
                    raise KnowledgeError(part.place, f"There is no table {part.quantity!r}.", self.tables)
                for row in self.tables[part.quantity].rows if isinstance(part.quantity, str) else ():
                    if not row.value.isdecimal():
                        problem = f"{row.value!r} is no whole number, but {part.name!r} is counted by it."
                        raise KnowledgeError(row.place, problem)
                for name in part.size:
                    if name not in self.tables and name not in self.figures:
                        allowed = [*self.tables, *self.figures]
                        raise KnowledgeError(part.place, f"There is no table or figure {name!r}.", allowed, got=name)
                for name in part.figures:
                    if name not in self.figures:
                        raise KnowledgeError(part.place, f"There is no figure {name!r}.", self.figures, got=name)

    def _parents(self, name: str, met: frozenset[str]) -> frozenset[str]:
        """Everything met on the way up from an item, itself only where the way leads back."""
        for parent in self.items[name].is_a if name in self.items else ():
            if parent not in met:
                met = self._parents(parent, met | {parent})
        return met

    def hardware(self) -> list[Item | Arrangement]:
        """Every arrangement and item, in the order of the stated preference."""
        arrangements = sorted(self.arrangements.values(), key=preference)
        return [*arrangements, *sorted(self.items.values(), key=preference)]

    def fit_conditions(self, part: Item | Arrangement) -> list[Condition]:
        """Everything that decides whether and how a part is used here: where it fits, what it brings, how many."""
        found = [part.fits] if part.fits else []
        found += [companion.when for companion in part.brings if companion.when]
        if isinstance(part, Item) and isinstance(part.quantity, str):
            found += [row.when for row in self.tables[part.quantity].rows]
        return found

    def _all_conditions(self) -> chain[Condition]:
        implied = (rule.implied for rule in self.rules.values() if rule.implied)
        return chain(
            (rule.condition for rule in self.rules.values()),
            implied,
            (item.fits for item in self.items.values() if item.fits),
            (arrangement.fits for arrangement in self.arrangements.values()),
            (companion.when for part in self.hardware() for companion in part.brings if companion.when),
            (row.when for table in self.tables.values() for row in table.rows),
        )

    def _cells(self) -> dict[str, Cells]:
        thresholds: dict[str, set[Fraction]] = {name: set() for name in self.kinds}
        for condition in self.conditions:
            for part in walk(condition):
                if isinstance(part, Compare):
                    thresholds[part.fact].update(limit for _, limit in part.bounds)
        for kind in self.kinds.values():
            if kind.presumed is not None and kind.kind == "quantity":
                thresholds[kind.name].add(number(kind.presumed))
        return {name: cells_of(kind, thresholds[name]) for name, kind in sorted(self.kinds.items())}

    def mask_presumed(self, fact: str) -> int:
        """The cells of the value presumed while nothing is said; 0 where nothing is presumed."""
        kind = self.kinds[fact]
        if kind.presumed is None:
            return 0
        if kind.kind == "quantity":
            value = number(kind.presumed)
            return self.cells[fact].mask(Between(value, value))
        return self.cells[fact].mask(OneOf(frozenset((kind.presumed,))))

    def mask(self, compare: Compare) -> int:
        """The cells of the fact that a comparison admits."""
        if compare not in self._masks:
            self._masks[compare] = self._mask(compare)
        return self._masks[compare]

    def _mask(self, compare: Compare) -> int:
        cells = self.cells[compare.fact]
        if cells.kind.kind != "quantity":
            return cells.mask(OneOf(choices_within(compare, cells.kind)))
        mask = 0
        for bit, (low, high) in enumerate(cells.bounds):
            inside = low if low == high and low is not None else cells._inside(low, high)
            if compare.holds(inside):
                mask |= 1 << bit
        return mask & cells.full

    def narrowed(self, condition: Condition, fact: str, left: int) -> int:
        """The cells left of a fact for which a condition's comparisons of it hold."""
        for part in walk(condition):
            if isinstance(part, Compare) and part.fact == fact:
                left &= self.mask(part)
        return left

    def _fact_order(self) -> tuple[str, ...]:
        order: nx.DiGraph[str] = nx.DiGraph()
        order.add_nodes_from(self.kinds)
        for rule in self._rules_with("implies"):
            for fact in facts_read(rule.condition):
                order.add_edge(fact, rule.targets[0])
            for lifting in self.lifted_by[rule.name]:
                for fact in facts_read(lifting.condition):
                    order.add_edge(fact, rule.targets[0])
        return self._sorted(order, "implications")

    def _requirement_order(self) -> tuple[str, ...]:
        order: nx.DiGraph[str] = nx.DiGraph()
        order.add_nodes_from(self.requirements)
        for rule in chain(self._rules_with("requires"), self._rules_with("forbids")):
            read = requirements_read(rule.condition).union(
                *(requirements_read(lifting.condition) for lifting in self.lifted_by[rule.name])
            )
            for target in rule.targets:
                order.add_edges_from((name, target) for name in read)
        return self._sorted(order, "requirements")

    def _sorted(self, order: nx.DiGraph[str], what: str) -> tuple[str, ...]:
        try:
            return tuple(nx.lexicographical_topological_sort(order))
        except nx.NetworkXUnfeasible:
            cycle = " -> ".join(edge[0] for edge in nx.find_cycle(order))
            raise RuleCycle(
                "knowledge_graph/rules", f"These {what} wait for each other in a circle: {cycle}."
            ) from None

    def _families(self) -> dict[str, tuple[Item, ...]]:
        """For each item and family: the concrete items it stands for, best first.

        What others are kinds of and doesn't stand alone is a name for them only, and in no family.
        """
        self._above = {name: self._upwards(name) for name in self.items}
        found: dict[str, list[Item]] = {}
        bases = {family for item in self.items.values() for family in item.is_a}
        for item in self.items.values():
            concrete = item.alone or item.name not in bases
            for name in self._above[item.name]:
                found.setdefault(name, []).extend([item] if concrete else [])
        return {name: tuple(sorted(members, key=preference)) for name, members in sorted(found.items())}

    def _upwards(self, name: str) -> frozenset[str]:
        parents = self.items[name].is_a if name in self.items else ()
        return frozenset((name,)).union(*(self._upwards(parent) for parent in parents))

    def is_a(self, item: str, family: str) -> bool:
        """Whether an item is the other or one of its kinds."""
        return family in self._above[item]

    def _build(self) -> nx.DiGraph[str]:
        graph: nx.DiGraph[str] = nx.DiGraph()
        for kind in self.kinds.values():
            graph.add_node(f"fact:{kind.name}")
            for choice in kind.choices:
                graph.add_edge(f"fact:{kind.name}", f"value:{kind.name}={choice}", how="may be")
            for group, members in kind.groups.items():
                for member in members:
                    graph.add_edge(f"value:{kind.name}={member}", f"value:{kind.name}={group}", how="is a")
        for name in self.requirements:
            graph.add_node(f"requirement:{name}")
        for rule in self.rules.values():
            node = f"rule:{rule.name}"
            for part in walk(rule.condition):
                if isinstance(part, Compare):
                    for value in self._value_nodes(part):
                        graph.add_edge(value, node, how="read by")
                elif isinstance(part, Needs):
                    graph.add_edge(f"requirement:{part.requirement}", node, how="read by")
            if rule.source.work:
                graph.add_edge(node, f"source:{rule.source.work}", how="rests on")
            if rule.effect in ("requires", "forbids"):
                for target in rule.targets:
                    graph.add_edge(node, f"requirement:{target}", how=rule.effect)
            elif rule.effect == "lifts":
                for target in rule.targets:
                    graph.add_edge(node, f"rule:{target}", how="lifts")
            elif rule.implied:
                for value in self._value_nodes(rule.implied):
                    graph.add_edge(node, value, how="implies")
        for item in self.items.values():
            node = f"item:{item.name}"
            for given in item.gives:
                if self.requirements[given].trait:
                    graph.add_edge(node, f"requirement:{given}", how="has")
                else:
                    graph.add_edge(f"requirement:{given}", node, how="met by")
            for companion in item.brings:
                graph.add_edge(node, f"item:{companion.item}", how="brings")
            for clash in item.clashes:
                graph.add_edge(node, f"item:{clash}", how="clashes")
        for arrangement in self.arrangements.values():
            node = f"arrangement:{arrangement.name}"
            for use in arrangement.uses:
                graph.add_edge(node, f"item:{use.item}", how="uses")
            for companion in arrangement.brings:
                graph.add_edge(node, f"item:{companion.item}", how="brings")
        return graph

    def _value_nodes(self, compare: Compare) -> list[str]:
        if compare.choices:
            return [f"value:{compare.fact}={choice}" for choice in sorted(compare.choices)]
        return [f"fact:{compare.fact}"]


def preference(part: Item | Arrangement) -> tuple[bool, int, int, str]:
    """The stated preference: not by special listing, then fewest moving parts, then cost class, then name."""
    return (isinstance(part, Arrangement) and part.by_listing, part.moving_parts, part.cost, part.name)
