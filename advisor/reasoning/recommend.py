"""The recommended set with everything it rests on, read off the findings and never recomputed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from advisor.facts import Possible
from advisor.knowledge.conditions import Condition
from advisor.knowledge.parts import Arrangement, Rule
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.choose import Assumption, Choice, Chooser, Pick, Plan
from advisor.reasoning.infer import Findings, Judge


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the set.

    Attributes:
        because: the rules in force, or that may come into force, behind the requirements it meets.
        cases: where it belongs only to some cases: each a list of facts with the bits left; empty for always.
        waits_for: the facts that decide whether it is needed at all; empty where it certainly is.
    """

    leaf: str
    item: str
    quantity: int
    meets: tuple[str, ...]
    because: tuple[str, ...]
    brought_by: str | None
    cases: tuple[Assumption, ...] = ()
    waits_for: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Assumed:
    """A fact nobody stated: narrowed by an implication, or presumed."""

    fact: str
    possible: Possible
    rule: str | None


@dataclass(frozen=True, slots=True)
class Alternative:
    """An arrangement that was not chosen and why: ``barred``, ``falls_short``, or ``less_preferred``.

    ``about`` names what bars it or what it leaves unmet; ``rules`` the rules behind that; ``open`` whether it hangs on
    facts that are still open.
    """

    arrangement: str
    why: str
    about: str | None
    rules: tuple[str, ...]
    waits_for: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class RecommendedSet:
    """A set that is acceptable whatever the open facts turn out to be.

    ``unmet`` is what nothing meets in any case, ``unmet_if`` what nothing meets in some, with those cases.
    ``may_require`` are open demands that no hardware meets, with the facts that decide.
    """

    choice: Choice
    findings: Findings
    lines: tuple[Line, ...]
    unmet: tuple[str, ...]
    unmet_if: tuple[tuple[str, tuple[Assumption, ...]], ...]
    assumed: tuple[Assumed, ...]
    cautions: tuple[str, ...]
    alternatives: tuple[Alternative, ...]
    may_require: tuple[tuple[str, frozenset[str]], ...]

    @property
    def arrangements(self) -> tuple[str, ...]:
        """The arrangements of the cases, each once."""
        found = [plan.arrangement for _, plan, _ in self.choice.cases if plan.arrangement]
        return tuple(dict.fromkeys(found))


class Recommender:
    """Builds recommended sets for one graph."""

    def __init__(self, chooser: Chooser) -> None:
        self.chooser, self.graph = chooser, chooser.graph
        self.judge: Judge = chooser.judge

    def recommend(self, findings: Findings) -> RecommendedSet:
        """The safe set of what follows from what was said."""
        choice = self.chooser.choose(findings, UNKNOWN)
        unmet: dict[str, list[Assumption]] = {}
        for assumed, plan, _ in choice.cases:
            for name in plan.unmet:
                unmet.setdefault(name, []).append(assumed)
        everywhere = {name for name, cases in unmet.items() if len(cases) == len(choice.cases)}
        return RecommendedSet(
            choice=choice,
            findings=findings,
            lines=tuple(self.lines(choice)),
            unmet=tuple(sorted(everywhere)),
            unmet_if=tuple((name, joined(unmet[name])) for name in sorted(unmet.keys() - everywhere)),
            assumed=tuple(self._assumed(findings, choice)),
            cautions=tuple(rule.name for rule in self.graph.cautioning() if self.verdict(rule, findings) == YES),
            alternatives=tuple(self._alternatives(choice)),
            may_require=tuple(self._may_require(findings)),
        )

    def verdict(self, rule: Rule, findings: Findings) -> int:
        """A rule's verdict with its exceptions."""
        return findings.rules[self.judge.rule_index[rule.name]]

    def lines(self, choice: Choice) -> Iterator[Line]:
        """The lines of a choice, those that stand in several cases merged."""
        merged: dict[tuple[str, str, int], list[tuple[Assumption, Pick, Findings]]] = {}
        for assumed, plan, findings in choice.cases:
            for pick in plan.picks:
                for where, count in pick.counts:
                    entry = (assumed + where, pick, findings)
                    merged.setdefault((pick.leaf, pick.item, count), []).append(entry)
        for (leaf, item, quantity), entries in merged.items():
            pick = entries[0][1]
            waits = [self._waits(pick, below) for _, pick, below in entries]
            always = len(entries) == len(choice.cases) and all(len(pick.counts) == 1 for _, pick, _ in entries)
            yield Line(
                leaf=leaf,
                item=item,
                quantity=quantity,
                meets=tuple(sorted({name for _, each, _ in entries for name in each.meets})),
                because=tuple(sorted({rule for _, each, below in entries for rule in self.behind(each.meets, below)})),
                brought_by=pick.brought_by,
                cases=() if always else joined([assumed for assumed, _, _ in entries]),
                waits_for=frozenset().union(*waits) if all(waits) else frozenset(),
            )

    def _waits(self, pick: Pick, findings: Findings) -> frozenset[str]:
        """The facts that decide whether a pick is needed: none where something certain needs it."""
        if pick.brought_by or not pick.meets:
            return frozenset()
        verdicts = {name: findings.required[self.graph.requirement_index[name]] for name in pick.meets}
        if not verdicts or max(verdicts.values()) == YES:
            return frozenset()
        return frozenset().union(*(self.judge.requirement_waits_for(name, findings) for name in verdicts))

    def behind(self, requirements: tuple[str, ...], findings: Findings) -> list[str]:
        """The rules that require these, in force or not ruled out."""
        return [
            rule.name
            for name in requirements
            for rule in self.graph.requiring.get(name, ())
            if self.verdict(rule, findings) != NO
        ]

    def _assumed(self, findings: Findings, choice: Choice) -> Iterator[Assumed]:
        for name, at in self.graph.fact_index.items():
            if findings.state[at] == findings.said[at]:
                continue
            possible = self.graph.cells[name].possible(findings.state[at])
            rules = [
                rule.name
                for rule in self.graph.implying.get(name, ())
                if self.verdict(rule, findings) == YES and rule.implied and self._narrows(rule, findings, at)
            ]
            if rules:
                yield Assumed(name, possible, min(rules, key=self._breadth))
            elif self.graph.kinds[name].topic != "ordering" and self._presumption_matters(name, at, findings, choice):
                yield Assumed(name, possible, None)

    def _breadth(self, name: str) -> tuple[int, str]:
        """How many cells an implication leaves: the narrowest explains best."""
        implied = self.graph.rules[name].implied
        assert implied
        return (self.graph.mask(implied).bit_count(), name)

    def _narrows(self, rule: Rule, findings: Findings, at: int) -> bool:
        assert rule.implied
        implied = self.graph.mask(rule.implied)
        return bool(findings.said[at] & ~implied) and not findings.state[at] & ~implied

    def _presumption_matters(self, fact: str, at: int, findings: Findings, choice: Choice) -> bool:
        """Whether another value than the presumed one would change the set.

        Where the set has several cases it is enough that another value would change a demand or a fit: comparing
        whole sets for every presumption would take longer than a customer waits.
        """
        for bit, _ in self.graph.cells[fact].samples(findings.said[at] & ~findings.state[at]):
            said = list(findings.said)
            said[at] = bit
            other = self.judge.infer(said, findings)
            alike = other.required == findings.required and other.forbidden == findings.forbidden
            if alike and at not in self.chooser.facts_read:
                continue
            if len(choice.cases) > 1 or self.chooser.choose(other, UNKNOWN).hardware != choice.hardware:
                return True
        return False

    def _may_require(self, findings: Findings) -> Iterator[tuple[str, frozenset[str]]]:
        """Open requirements that no hardware meets: to be looked into, with the facts that decide."""
        for name, number in self.graph.requirement_index.items():
            if self.graph.requirements[name].met_by_nothing and findings.required[number] == UNKNOWN:
                yield name, self.judge.requirement_waits_for(name, findings)

    def _alternatives(self, choice: Choice) -> Iterator[Alternative]:
        chosen = {plan.arrangement for _, plan, _ in choice.cases}
        for _, plan, findings in choice.cases[:1]:
            for arrangement in self.chooser.arrangements:
                if arrangement.name not in chosen and self.judge.truth(arrangement.fits, findings) == YES:
                    yield self._lost(arrangement, plan, findings)

    def _lost(self, arrangement: Arrangement, plan: Plan, findings: Findings) -> Alternative:
        """Why an arrangement lost: what certainly bars it or is missing first, then what may."""
        index = self.graph.requirement_index
        traits = sorted(self._traits(arrangement, findings))
        missing = sorted(
            name
            for name in self._given_by(plan.arrangement, findings) - self._given_by(arrangement.name, findings)
            if self.graph.requirements[name].stage == "securing"
        )
        for least in (YES, UNKNOWN):
            for trait in traits:
                if findings.forbidden[index[trait]] >= least:
                    rules = [rule for rule in self.graph.forbidding[trait] if self.verdict(rule, findings) >= least]
                    waits = frozenset().union(*(self.waits(rule, findings) for rule in rules))
                    names = tuple(rule.name for rule in rules)
                    return Alternative(arrangement.name, "barred", trait, names, frozenset() if least == YES else waits)
            for name in missing:
                if findings.required[index[name]] >= least:
                    waits = self.judge.requirement_waits_for(name, findings)
                    names = tuple(self.behind((name,), findings))
                    return Alternative(
                        arrangement.name, "falls_short", name, names, waits if least == UNKNOWN else frozenset()
                    )
        return Alternative(arrangement.name, "less_preferred", None, ())

    def waits(self, rule: Rule, findings: Findings) -> frozenset[str]:
        """The facts that keep a rule open, its exceptions included."""
        return self.judge.waits_for(self.judge.rule_clause(rule.name).condition, findings)

    def holding(self, condition: Condition, findings: Findings) -> frozenset[str]:
        """The facts that make a condition hold."""
        return self.judge.holding(condition, findings)

    def _traits(self, arrangement: Arrangement, findings: Findings) -> frozenset[str]:
        """The traits that every way of making up an arrangement has."""
        found = {name for name in arrangement.gives if self.graph.requirements[name].trait}
        for use in arrangement.uses:
            kinds = [i for i in self.graph.families[use.item] if self.judge.truth(i.fits, findings) != NO]
            if kinds:
                found |= frozenset.intersection(*(item.gives for item in kinds))
        return frozenset(found)

    def _given_by(self, name: str | None, findings: Findings) -> frozenset[str]:
        if name is None:
            return frozenset()
        arrangement = self.graph.arrangements[name]
        found = set(arrangement.gives)
        for use in arrangement.uses:
            for item in self.graph.families[use.item]:
                if self.judge.truth(item.fits, findings) != NO:
                    found |= {
                        given
                        for given in item.gives
                        if use.on == "each" or self.graph.requirements[given].on in (use.on, "opening")
                    }
        return frozenset(found)


def joined(cases: list[Assumption]) -> tuple[Assumption, ...]:
    """Cases that differ in one fact only become one case with that fact's bits together."""
    found = [dict(case) for case in cases]
    changed = True
    while changed:
        changed = False
        for first in range(len(found)):
            for second in range(first + 1, len(found)):
                one, other = found[first], found[second]
                differing = [fact for fact in one if one.get(fact) != other.get(fact)]
                if one.keys() == other.keys() and len(differing) == 1:
                    one[differing[0]] |= other[differing[0]]
                    del found[second]
                    changed = True
                    break
            if changed:
                break
    return tuple(tuple(sorted(case.items())) for case in found)
