"""Why not, and what would change it: read off findings and choices, never argued anew."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from advisor.knowledge.conditions import facts_read
from advisor.knowledge.parts import Arrangement, Item
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.infer import Findings
from advisor.reasoning.recommend import Alternative, Line, RecommendedSet, Recommender

Why = Literal["barred", "does_not_fit", "falls_short", "less_preferred", "nothing_asks", "other_serves"]


@dataclass(frozen=True, slots=True)
class Objection:
    """Why an item is not in the set.

    Attributes:
        about: the trait or requirement it turns on, or the item that serves in its place.
        rules: the rules behind it.
        facts: the facts those rules rest on.
        waits_for: the open facts it hangs on; empty where it is certain.
        arrangement: the way of latching it would have come with, if any.
    """

    item: str
    why: Why
    about: str | None
    rules: tuple[str, ...] = ()
    facts: frozenset[str] = frozenset()
    waits_for: frozenset[str] = frozenset()
    arrangement: str | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """How one set differs from another: whole lines, and what stays unmet."""

    added: tuple[Line, ...]
    removed: tuple[Line, ...]
    newly_unmet: tuple[str, ...]
    no_longer_unmet: tuple[str, ...]

    @property
    def nothing(self) -> bool:
        """Whether the two are alike."""
        return not (self.added or self.removed or self.newly_unmet or self.no_longer_unmet)


def difference(before: RecommendedSet, after: RecommendedSet) -> Difference:
    """What the second set has that the first lacks, and the other way round."""

    def keyed(found: RecommendedSet) -> dict[tuple[str, str, int], Line]:
        return {(line.leaf, line.item, line.quantity): line for line in found.lines}

    old, new = keyed(before), keyed(after)
    return Difference(
        tuple(line for key, line in new.items() if key not in old),
        tuple(line for key, line in old.items() if key not in new),
        tuple(name for name in after.unmet if name not in before.unmet),
        tuple(name for name in before.unmet if name not in after.unmet),
    )


class Arguer:
    """Answers "why not" and "what would let me" for one graph."""

    def __init__(self, recommender: Recommender) -> None:
        self.recommender, self.graph = recommender, recommender.graph
        self.judge, self.chooser = recommender.judge, recommender.chooser

    def why_not(self, family: str, found: RecommendedSet) -> tuple[Objection, ...]:
        """Why nothing of a family of items is in the set, the nearest to being allowed first; none where it is."""
        if any(self.graph.is_a(line.item, family) for line in found.lines):
            return ()
        objections = [
            objection
            for _, _, findings in found.choice.cases
            for objection in self._objections(family, found, findings)
        ]
        order = ("less_preferred", "other_serves", "nothing_asks", "barred", "falls_short", "does_not_fit")
        unique = {(o.item, o.why, o.about, o.arrangement): o for o in objections}
        return tuple(
            sorted(
                unique.values(),
                key=lambda o: (order.index(o.why), not o.waits_for, o.item, o.arrangement or ""),
            )
        )

    def _objections(self, family: str, found: RecommendedSet, findings: Findings) -> Iterator[Objection]:
        lost = {other.arrangement: other for other in found.alternatives}
        for item in self.graph.families[family]:
            if self.judge.truth(item.fits, findings) == NO:
                assert item.fits
                yield Objection(item.name, "does_not_fit", None, (), self.judge.holding(item.fits, findings))
                continue
            with_it = [a for a in self.chooser.arrangements if self._uses(a, item)]
            for arrangement in with_it:
                if arrangement.name in lost:
                    yield self._of_arrangement(item, lost[arrangement.name], findings)
                elif self.judge.truth(arrangement.fits, findings) == NO:
                    facts = self.judge.holding(arrangement.fits, findings)
                    yield Objection(item.name, "does_not_fit", None, (), facts, arrangement=arrangement.name)
            if item.alone:
                yield self._of_item(item, found, findings)

    def _uses(self, arrangement: Arrangement, item: Item) -> bool:
        return any(item in self.graph.families[use.item] for use in arrangement.uses)

    def _of_arrangement(self, item: Item, lost: Alternative, findings: Findings) -> Objection:
        why: Why = (
            "barred" if lost.why == "barred" else "falls_short" if lost.why == "falls_short" else "less_preferred"
        )
        own = self._barring(item, findings, YES)
        if own:
            return self._barred(item, own, findings, lost.arrangement)
        facts = self._facts(lost.rules, findings)
        return Objection(item.name, why, lost.about, lost.rules, facts, lost.waits_for, lost.arrangement)

    def _of_item(self, item: Item, found: RecommendedSet, findings: Findings) -> Objection:
        for least in (YES, UNKNOWN):
            barring = self._barring(item, findings, least)
            if barring:
                return self._barred(item, barring, findings, None)
        wanted = {name for line in found.lines for name in line.meets} & item.gives
        for line in found.lines:
            if set(line.meets) & wanted:
                return Objection(item.name, "other_serves", line.item)
        return Objection(item.name, "nothing_asks", None)

    def _barring(self, item: Item, findings: Findings, least: int) -> str | None:
        index = self.graph.requirement_index
        return next((name for name in sorted(item.gives) if findings.forbidden[index[name]] >= least), None)

    def _barred(self, item: Item, trait: str, findings: Findings, arrangement: str | None) -> Objection:
        certain = findings.forbidden[self.graph.requirement_index[trait]] == YES
        rules = tuple(
            rule.name
            for rule in self.graph.forbidding[trait]
            if self.recommender.verdict(rule, findings) >= (YES if certain else UNKNOWN)
        )
        waits = frozenset().union(*(self.recommender.waits(self.graph.rules[name], findings) for name in rules))
        facts = self._facts(rules, findings)
        return Objection(item.name, "barred", trait, rules, facts, frozenset() if certain else waits, arrangement)

    def _facts(self, rules: tuple[str, ...], findings: Findings) -> frozenset[str]:
        conditions = (self.judge.rule_clause(name).condition for name in rules)
        return frozenset().union(*(self.judge.holding(condition, findings) for condition in conditions))

    def what_would(self, family: str, findings: Findings) -> tuple[tuple[str, int], ...]:
        """The single changes of one fact under which something of a family may be used: each fact with its bits."""
        found = []
        for fact in sorted(self._bearing_on(family)):
            at = self.graph.fact_index[fact]
            bits = 0
            for bit, _ in self.graph.cells[fact].samples(self.judge.full[at] & ~findings.state[at]):
                said = list(findings.said)
                said[at] = bit
                if self.chooser.allows(self.judge.infer(said, findings), family):
                    bits |= bit
            if bits:
                found.append((fact, bits))
        return tuple(found)

    def _bearing_on(self, family: str) -> frozenset[str]:
        """The facts that could bring an item in or keep it out: those its fit and the rules on it read."""
        facts: set[str] = set()
        names: set[str] = set()
        for item in self.graph.families[family]:
            names |= item.gives
            parts: list[Item | Arrangement] = [item, *(a for a in self.chooser.arrangements if self._uses(a, item))]
            for part in parts:
                names |= part.gives
                facts |= facts_read(part.fits) if part.fits else set()
        for name in names:
            for rule in (*self.graph.forbidding.get(name, ()), *self.graph.requiring.get(name, ())):
                facts |= facts_read(self.judge.rule_clause(rule.name).condition)
        return frozenset(fact for fact in facts if self.graph.kinds[fact].topic != "ordering")
