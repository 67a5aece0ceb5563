"""The next question: one whose answer can change the set, best first; none where no answer can.

A question needs a *witness*: two complete openings, alike in everything but the answer, that get different hardware.
It is looked for where a difference must show if there is one: for each condition that waits for the fact, the other
facts are narrowed until that condition hangs on this fact alone, the rest is filled in, and the sets on either side
are compared. So a fact that matters only together with others is found as well, and a question that can't matter is
never asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod, sqrt

from advisor.asking.outlook import Outlook
from advisor.knowledge.conditions import All, Compare, Condition, Needs, Not, facts_read, walk
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.choose import Chooser
from advisor.reasoning.infer import Findings, State

SHAPING = ("leaves", "door_material")
# The likeliest questions, looked at one step ahead; the others follow in the order of their likelihood
LOOKED_AT = 8
# Where nothing is found to ask, this many completions are compared at most
SPREAD = 64

Counter = tuple[tuple[frozenset[tuple[str, str, tuple[int, ...]]], tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class NextQuestion:
    """A fact worth asking.

    Attributes:
        fact: what to ask.
        rules: the rules that wait for it, by name.
    """

    fact: str
    rules: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Waiting:
    """A condition that is open, the rule it belongs to (empty for a fit or a table row), and what could overrule it."""

    condition: Condition
    rule: str
    rivals: tuple[Condition, ...]


class Planner:
    """Chooses questions for one graph."""

    def __init__(self, chooser: Chooser) -> None:
        self.chooser, self.judge, self.graph = chooser, chooser.judge, chooser.graph
        self._fits = self._conditions_of_fit()
        self.outlook = Outlook(self.judge, self._fits)
        self._masks: dict[tuple[str, Condition], list[int]] = {}

    def _conditions_of_fit(self) -> tuple[Condition, ...]:
        found: dict[Condition, None] = {}
        for part in self.graph.hardware():
            found.update(dict.fromkeys(self.graph.fit_conditions(part)))
        return tuple(found)

    def next_question(self, findings: Findings, closed: frozenset[str]) -> NextQuestion | None:
        """The best question, or None where no answer can change the hardware.

        Args:
            findings: what follows from what was said.
            closed: facts the customer doesn't know; they are never asked again.
        """
        waiting = self._waiting(findings)
        open_facts = self._askable(waiting, closed)
        for fact in self._ordered(open_facts, findings):
            if self.matters(fact, waiting[fact], findings):
                return NextQuestion(fact, self._rules(waiting[fact]))
        overlooked = self._overlooked(open_facts, waiting, findings)
        return NextQuestion(overlooked, self._rules(waiting[overlooked])) if overlooked else None

    def waiting_for(self, fact: str, findings: Findings) -> tuple[str, ...]:
        """The rules that wait for a fact, by name."""
        return self._rules(self._waiting(findings).get(fact, ()))

    def _rules(self, waiting: Iterable[_Waiting]) -> tuple[str, ...]:
        return tuple(sorted({entry.rule for entry in waiting if entry.rule}))

    def _askable(self, waiting: Iterable[str], closed: frozenset[str]) -> list[str]:
        return sorted(fact for fact in waiting if fact not in closed and self.graph.kinds[fact].topic != "ordering")

    def _ordered(self, facts: Sequence[str], findings: Findings) -> Iterator[str]:
        """The facts, the one that is likely to leave least to ask first.

        What shapes the set comes before all while nothing is said of it: everything the customer sees hangs on it.
        """
        full, index = self.judge.full, self.graph.fact_index
        shaping = [fact for fact in SHAPING if fact in facts and findings.state[index[fact]] == full[index[fact]]]
        yield from shaping
        chances = self.outlook.chances(findings)
        others = sorted(set(facts).difference(shaping), key=lambda fact: (-chances.get(index[fact], 0.0), fact))
        likeliest = others[:LOOKED_AT]
        if len(likeliest) > 1:
            left = {fact: self.outlook.cost[index[fact]] + self.outlook.after(fact, findings) for fact in likeliest}
            likeliest.sort(key=lambda fact: (left[fact], fact))
        yield from likeliest
        yield from others[LOOKED_AT:]

    def _waiting(self, findings: Findings) -> dict[str, list[_Waiting]]:
        """For each fact: what waits for it and could change the set."""
        found: dict[str, list[_Waiting]] = {}
        for entry in self._open(findings):
            for fact in self.judge.waits_for(entry.condition, findings):
                found.setdefault(fact, []).append(entry)
        for fact in self.graph.fact_order[::-1]:
            for rule in self.graph.implying.get(fact, ()) if fact in found else ():
                condition = self.judge.rule_clause(rule.name).condition
                for read in self.judge.waits_for(condition, findings):
                    found.setdefault(read, []).append(_Waiting(condition, rule.name, ()))
        return found

    def _open(self, findings: Findings) -> Iterator[_Waiting]:
        for verdicts, by_target in (
            (findings.required, self.graph.requiring),
            (findings.forbidden, self.graph.forbidding),
        ):
            for target, rules in by_target.items():
                requirement = self.graph.requirements[target]
                if verdicts[self.graph.requirement_index[target]] != UNKNOWN:
                    continue
                if requirement.met_by_nothing or requirement.listed:
                    continue
                conditions = {rule.name: self.judge.rule_clause(rule.name).condition for rule in rules}
                for name, condition in conditions.items():
                    rivals = tuple(other for rival, other in conditions.items() if rival != name)
                    yield _Waiting(condition, name, rivals)
        for condition in self._fits:
            if self.judge.truth(condition, findings) == UNKNOWN:
                yield _Waiting(condition, "", ())

    def matters(self, fact: str, waiting: Iterable[_Waiting], findings: Findings) -> bool:
        """Whether a witness is found: two complete openings that differ in this fact alone and in their hardware."""
        at = self.graph.fact_index[fact]
        tried: set[tuple[tuple[int, ...], frozenset[int]]] = set()
        for entry in waiting:
            said = self._hinged(entry, fact, findings)
            if said is None:
                continue
            sides = self._sides(fact, entry.condition, findings.state[at])
            for last in (False, True):
                whole = self._completed(said, fact, last)
                trial = (tuple(whole[:at] + whole[at + 1 :]), sides)
                if trial in tried:
                    continue
                tried.add(trial)
                if self._differs(whole, fact, sides):
                    return True
        return False

    def _sides(self, fact: str, condition: Condition, left: int) -> frozenset[int]:
        """One cell of each kind the condition can tell apart, in itself and in what its needs hang on."""
        return frozenset(_one_of_each(left, self._told_apart(fact, condition)))

    def _told_apart(self, fact: str, condition: Condition) -> list[int]:
        key = (fact, condition)
        if key not in self._masks:
            masks: set[int] = set()
            for part in walk(condition):
                if isinstance(part, Compare) and part.fact == fact:
                    masks.add(self.graph.mask(part))
                elif isinstance(part, Needs):
                    for rule in self.graph.requiring.get(part.requirement, ()):
                        masks.update(self._told_apart(fact, self.judge.rule_clause(rule.name).condition))
            self._masks[key] = sorted(masks)
        return self._masks[key]

    def _differs(self, whole: State, fact: str, sides: frozenset[int]) -> bool:
        """Whether the set is another one on some sides than on the others."""
        at = self.graph.fact_index[fact]
        base: Findings | None = None
        found: Counter = ()
        for bit in sorted(sides):
            state = list(whole)
            state[at] = bit
            judged = self.judge.infer(state, base)
            hardware = self._on_the_counter(judged)
            if base and hardware != found:
                return True
            base, found = judged, hardware
        return False

    def _on_the_counter(self, findings: Findings) -> Counter:
        """The hardware of a complete opening; what only a specialist can answer is no hardware."""
        requirements = self.graph.requirements
        return tuple(
            (lines, tuple(name for name in unmet if not requirements[name].met_by_nothing))
            for _, lines, unmet in self.chooser.choose(findings, YES).hardware
        )

    def _overlooked(
        self, facts: Sequence[str], waiting: Mapping[str, list[_Waiting]], findings: Findings
    ) -> str | None:
        """A fact that turns out to matter when completions are compared at large; None where they all are alike.

        All the facts that something waits for are varied together, cell by cell in step, so that the completions
        spread evenly; two unlike ones are then led into each other fact by fact until the hardware changes. Beside
        them closed facts have their first values, then their last.
        """
        index = self.graph.fact_index
        if not facts:
            return None
        closed = any(fact not in facts for fact in waiting)
        kinds = {fact: sorted(self._kinds(fact, waiting[fact], findings)) for fact in facts}
        for last in (False, True) if closed else (False,):
            base = self._completed(findings.said, facts[0], last)
            first: tuple[State, Counter] | None = None
            judged: Findings | None = None
            for picked in _spread([len(kinds[fact]) for fact in facts]):
                whole = list(base)
                for fact, at in zip(facts, picked, strict=True):
                    whole[index[fact]] = kinds[fact][at]
                judged = self.judge.infer(whole, judged)
                found = self._on_the_counter(judged)
                if first is None:
                    first = (whole, found)
                elif found != first[1]:
                    return self._parting(first[0], whole, facts)
        return None

    def _parting(self, one: State, other: State, facts: Sequence[str]) -> str:
        """The first fact that changes the hardware while one opening is led into another, fact by fact."""
        before, state = self._on_the_counter(self.judge.infer(one)), list(one)
        for fact in facts:
            at = self.graph.fact_index[fact]
            state[at] = other[at]
            if self._on_the_counter(self.judge.infer(state)) != before:
                return fact
        raise AssertionError("two openings alike in every fact get different hardware")

    def _kinds(self, fact: str, waiting: Iterable[_Waiting], findings: Findings) -> set[int]:
        """One cell left of each kind that the conditions waiting for a fact can tell apart."""
        masks = sorted({mask for entry in waiting for mask in self._told_apart(fact, entry.condition)})
        return set(_one_of_each(findings.state[self.graph.fact_index[fact]], masks))

    def _completed(self, said: State, fact: str, last: bool) -> State:
        """Every other fact given one of its remaining values: the first, or the last, cell left."""
        state = self.judge.infer(said).state
        at = self.graph.fact_index[fact]
        whole = [1 << (mask.bit_length() - 1) if last else mask & -mask for mask in state]
        whole[at] = said[at]
        return whole

    def _hinged(self, entry: _Waiting, fact: str, findings: Findings) -> State | None:
        """What was said, with other facts narrowed so that the condition hangs on this one; None where it can't."""
        said = list(findings.said)
        if not self._sensitize(entry.condition, fact, said, findings):
            return None
        for rival in entry.rivals:
            trial = list(said)
            if self._force(rival, NO, trial, fact, findings):
                said = trial
        return said

    def _sensitize(self, condition: Condition, fact: str, said: State, findings: Findings) -> bool:
        if isinstance(condition, Compare):
            return condition.fact == fact
        if isinstance(condition, Needs):
            return self._sensitize_requirement(condition.requirement, fact, said, findings)
        if isinstance(condition, Not):
            return self._sensitize(condition.part, fact, said, findings)
        wanted = YES if isinstance(condition, All) else NO
        reading = [part for part in condition.parts if self._reads(part, fact)]
        for strict in (True, False) if len(reading) > 1 else (True,):
            for deciding in reading:
                trial = list(said)
                if self._sensitize(deciding, fact, trial, findings) and all(
                    self._force(part, wanted, trial, fact, findings) or not (strict or part not in reading)
                    for part in condition.parts
                    if part is not deciding
                ):
                    said[:] = trial
                    return True
        return False

    def _sensitize_requirement(self, name: str, fact: str, said: State, findings: Findings) -> bool:
        for rule in self.graph.requiring.get(name, ()):
            trial = list(said)
            if self._sensitize(self.judge.rule_clause(rule.name).condition, fact, trial, findings):
                said[:] = trial
                return True
        return False

    def _reads(self, condition: Condition, fact: str) -> bool:
        if fact in facts_read(condition):
            return True
        return any(
            self._reads(self.judge.rule_clause(rule.name).condition, fact)
            for part in walk(condition)
            if isinstance(part, Needs)
            for rule in self.graph.requiring.get(part.requirement, ())
        )

    def _force(self, condition: Condition, wanted: int, said: State, fact: str, findings: Findings) -> bool:
        """Narrow the state so that a condition comes out as wanted, leaving one fact alone; say whether it can."""
        if isinstance(condition, Needs):
            rules = [
                self.judge.rule_clause(rule.name).condition
                for rule in self.graph.requiring.get(condition.requirement, ())
            ]
            return self._force_some(rules, wanted, wanted == NO, said, fact, findings)
        if isinstance(condition, Not):
            return self._force(condition.part, YES - wanted, said, fact, findings)
        if isinstance(condition, Compare):
            at = self.graph.fact_index[condition.fact]
            before = said[at] if said[at] != self.judge.full[at] else findings.state[at]
            inside = self.graph.mask(condition)
            left = before & (inside if wanted == YES else ~inside)
            if not left or (condition.fact == fact and left != before):
                return False
            said[at] = left
            return True
        every = isinstance(condition, All) == (wanted == YES)
        return self._force_some(condition.parts, wanted, every, said, fact, findings)

    def _force_some(
        self,
        parts: Iterable[Condition],
        wanted: int,
        every: bool,
        said: State,
        fact: str,
        findings: Findings,
    ) -> bool:
        if every:
            return all(self._force(part, wanted, said, fact, findings) for part in parts)
        for part in parts:
            trial = list(said)
            if self._force(part, wanted, trial, fact, findings):
                said[:] = trial
                return True
        return False


def _one_of_each(left: int, masks: Sequence[int]) -> list[int]:
    """The lowest of the bits left of each kind that some masks tell apart."""
    found: dict[tuple[bool, ...], int] = {}
    while left:
        bit = left & -left
        found.setdefault(tuple(bool(bit & mask) for mask in masks), bit)
        left ^= bit
    return list(found.values())


def _spread(sizes: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Every combination of one index of each size; where there are more than SPREAD, so many, evenly spread."""
    if prod(sizes) <= SPREAD:
        yield from product(*(range(size) for size in sizes))
        return
    for number in range(SPREAD):
        yield tuple(int(size * (number * sqrt(place + 2.5) % 1)) for place, size in enumerate(sizes))
