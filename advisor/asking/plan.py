"""The next question: one whose answer can change the set, best first; none where no answer can.

A question needs a *witness*: two complete openings, alike in everything but the answer, that get different hardware.
It is looked for where a difference must show if there is one: for each condition that waits for the fact, the other
facts are narrowed until that condition hangs on this fact alone, the rest is filled in, and the sets on either side
are compared. So a fact that matters only together with others is found as well, and a question that can't matter is
never asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from advisor.knowledge.conditions import All, Compare, Condition, Needs, Not, facts_read, walk
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.choose import Chooser
from advisor.reasoning.infer import Findings, State

SHAPING = ("leaves", "door_material")


@dataclass(frozen=True, slots=True)
class NextQuestion:
    """A fact worth asking.

    Attributes:
        fact: what to ask.
        settles: how many open verdicts an answer settles on average.
        rules: the rules that wait for it, by name.
    """

    fact: str
    settles: float
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
        for fact, waiting in self.ranked(findings, closed):
            if self.matters(fact, waiting, findings):
                rules = sorted({entry.rule for entry in waiting if entry.rule})
                return NextQuestion(fact, self._settles(fact, findings), tuple(rules))
        return None

    def ranked(self, findings: Findings, closed: frozenset[str]) -> list[tuple[str, list[_Waiting]]]:
        """The facts something waits for and the customer may know, best first.

        What shapes the set comes first while nothing is said of it; then safety; then what settles most; then what is
        easiest to answer.
        """
        waiting = self._waiting(findings)

        def rank(fact: str) -> tuple[int, bool, float, int, str]:
            kind = self.graph.kinds[fact]
            unsaid = findings.state[self.graph.fact_index[fact]] == self.judge.full[self.graph.fact_index[fact]]
            shaping = SHAPING.index(fact) if fact in SHAPING and unsaid else len(SHAPING)
            worth = self._settles(fact, findings) / kind.ease
            return (shaping, kind.topic != "safety", -worth, kind.ease, fact)

        facts = [fact for fact in waiting if fact not in closed and self.graph.kinds[fact].topic != "ordering"]
        return [(fact, waiting[fact]) for fact in sorted(facts, key=rank)]

    def _settles(self, fact: str, findings: Findings) -> float:
        """How many open verdicts an answer settles, on average over the answers."""
        before = _open_verdicts(findings)
        at = self.graph.fact_index[fact]
        settled = []
        for bit, _ in self.graph.cells[fact].samples(findings.state[at]):
            said = list(findings.said)
            said[at] = bit
            settled.append(before - _open_verdicts(self.judge.infer(said, findings)))
        return sum(settled) / len(settled) if settled else 0.0

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
        """A cell left on either side of each comparison of the fact, in the condition and in what its needs hang on."""
        sides: set[int] = set()
        for part in walk(condition):
            if isinstance(part, Compare) and part.fact == fact:
                inside = self.graph.mask(part)
                sides |= {side & -side for side in (left & inside, left & ~inside) if side}
            elif isinstance(part, Needs):
                for rule in self.graph.requiring.get(part.requirement, ()):
                    sides |= self._sides(fact, self.judge.rule_clause(rule.name).condition, left)
        return frozenset(sides)

    def _differs(self, whole: State, fact: str, sides: frozenset[int]) -> bool:
        """Whether the set is another one on some sides than on the others."""
        at = self.graph.fact_index[fact]
        found: object = None
        for number, bit in enumerate(sorted(sides)):
            state = list(whole)
            state[at] = bit
            hardware = self.chooser.choose(self.judge.infer(state), YES).hardware
            if number and hardware != found:
                return True
            found = hardware
        return False

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
        for deciding in condition.parts:
            if not self._reads(deciding, fact):
                continue
            trial = list(said)
            others = (part for part in condition.parts if part is not deciding)
            if self._sensitize(deciding, fact, trial, findings) and all(
                self._force(part, wanted, trial, fact, findings) for part in others
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


def _open_verdicts(findings: Findings) -> int:
    return findings.required.count(UNKNOWN) + findings.forbidden.count(UNKNOWN)
