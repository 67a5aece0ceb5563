"""What follows from a fact sheet: every condition judged NO, UNKNOWN or YES over what is still possible.

A state is a list of bit masks, one a fact, in the graph's order (see ``knowledge.cells``). Judging works on plain
integers because the choice of a question judges hundreds of states a turn.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from advisor.facts import FactSheet
from advisor.knowledge.conditions import (
    All,
    AnyOf,
    Compare,
    Condition,
    Needs,
    Not,
    facts_read,
    requirements_read,
)
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.parts import Rule
from advisor.logic import NO, UNKNOWN, YES

State = list[int]
_Judge = Callable[[State, list[int]], int]


@dataclass(frozen=True, slots=True)
class Clause:
    """A condition ready to be judged: the function, and what it reads as bits (facts, requirements)."""

    condition: Condition
    judge: _Judge
    facts: int
    requirements: int


@dataclass(frozen=True, slots=True)
class _Demand:
    """A requirement's number, the rules that require and forbid it, and the facts and requirements these read."""

    number: int
    requiring: list[tuple[int, Clause]]
    forbidding: list[tuple[int, Clause]]
    facts: int
    requirements: int


@dataclass(frozen=True, slots=True)
class Findings:
    """What follows from a state.

    Attributes:
        state: what each fact may still be, implied and presumed values worked in.
        said: the same before implications and presumptions.
        rules: each rule's verdict with its exceptions, by the engine's order.
        required, forbidden: each requirement's verdict, by the graph's order.
    """

    state: State
    said: State
    rules: list[int]
    required: list[int]
    forbidden: list[int]


class Judge:
    """Judges states against one graph."""

    def __init__(self, graph: KnowledgeGraph) -> None:
        self.graph = graph
        self.full = [graph.cells[name].full for name in graph.fact_index]
        self.rule_names = sorted(graph.rules)
        self._clauses: dict[Condition, Clause] = {}
        self._rule_clause = {name: self._with_exceptions(graph.rules[name]) for name in self.rule_names}
        index = {name: number for number, name in enumerate(self.rule_names)}
        self.rule_index = index
        self._implications = [self._implied(fact) for fact in graph.fact_order]
        self._order = [self._demand(name) for name in graph.requirement_order]
        self._rest = [
            (index[name], self._rule_clause[name])
            for name in self.rule_names
            if graph.rules[name].effect in ("cautions", "lifts")
        ]

    def _implied(self, fact: str) -> tuple[int, int, int, list[tuple[Clause, int, int]]]:
        """A fact's number, what is read to find it (itself too), what is presumed of it, and what implies it."""
        at = self.graph.fact_index[fact]
        implications = [
            (self._rule_clause[rule.name], self.graph.mask(rule.implied), self.rule_index[rule.name])
            for rule in self.graph.implying.get(fact, ())
            if rule.implied
        ]
        reads = 1 << at
        for clause, _, _ in implications:
            reads |= clause.facts
        return at, reads, self.graph.mask_presumed(fact), implications

    def _demand(self, name: str) -> _Demand:
        """A requirement's rules, and everything they read, so that a change elsewhere is passed over at once."""
        requiring, forbidding = (
            [(self.rule_index[rule.name], self._rule_clause[rule.name]) for rule in by_target.get(name, ())]
            for by_target in (self.graph.requiring, self.graph.forbidding)
        )
        facts = requirements = 0
        for _, clause in requiring + forbidding:
            facts |= clause.facts
            requirements |= clause.requirements
        return _Demand(self.graph.requirement_index[name], requiring, forbidding, facts, requirements)

    def clause(self, condition: Condition) -> Clause:
        """The condition ready to be judged; made once."""
        if condition not in self._clauses:
            graph = self.graph
            self._clauses[condition] = Clause(
                condition,
                self._compile(condition),
                sum(1 << graph.fact_index[name] for name in facts_read(condition)),
                sum(1 << graph.requirement_index[name] for name in requirements_read(condition)),
            )
        return self._clauses[condition]

    def _with_exceptions(self, rule: Rule) -> Clause:
        lifting = self.graph.lifted_by[rule.name]
        if not lifting:
            return self.clause(rule.condition)
        return self.clause(All((rule.condition, *(Not(exception.condition) for exception in lifting))))

    def rule_clause(self, name: str) -> Clause:
        """A rule's condition together with its exceptions."""
        return self._rule_clause[name]

    def _compile(self, condition: Condition) -> _Judge:
        if isinstance(condition, Compare):
            at = self.graph.fact_index[condition.fact]
            inside = self.graph.mask(condition)
            outside = self.full[at] & ~inside
            return lambda state, _: (YES if not state[at] & outside else UNKNOWN) if state[at] & inside else NO
        if isinstance(condition, Needs):
            number = self.graph.requirement_index[condition.requirement]
            return lambda _, required: required[number]
        if isinstance(condition, Not):
            part = self._compile(condition.part)
            return lambda state, required: YES - part(state, required)
        parts = [self._compile(part) for part in condition.parts]
        if isinstance(condition, All):
            return lambda state, required: _all(parts, state, required)
        return lambda state, required: _any(parts, state, required)

    def said(self, sheet: FactSheet) -> State:
        """The state a sheet's own words leave; impossible words leave no bit."""
        state = list(self.full)
        for name, entry in sheet.entries.items():
            if entry.possible is not None:
                state[self.graph.fact_index[name]] &= self.graph.cells[name].mask(entry.possible)
        return state

    def infer(self, said: State, base: Findings | None = None) -> Findings:
        """Everything that follows from what was said.

        Args:
            said: a state of this graph.
            base: findings of a state that differs in few facts; what they don't touch is taken over, and all cautions.
        """
        state = list(base.state if base else said)
        verdicts = list(base.rules) if base else [NO] * len(self.rule_names)
        changed = -1
        if base:
            changed = sum(1 << at for at, mask in enumerate(said) if mask != base.said[at])
        none: list[int] = []
        for at, reads, presumed, implications in self._implications:
            if base and not reads & changed:
                continue
            heard = said[at] != self.full[at]
            state[at] = mask = said[at]
            waiting = 0
            for clause, implied, rule in implications:
                verdicts[rule] = verdict = clause.judge(state, none)
                if verdict == YES:
                    mask &= implied
                elif verdict == UNKNOWN:
                    waiting |= implied
            narrowed = mask != said[at]
            if mask:
                state[at] = mask
            if not heard and presumed and not (narrowed and mask):
                state[at] = presumed | waiting
            if base and state[at] != base.state[at]:
                changed |= 1 << at
        # Less being possible than before, a verdict that was settled stays as it was
        narrower = base is not None and all(not now & ~then for now, then in zip(state, base.state, strict=True))
        required = list(base.required) if base else [NO] * len(self._order)
        forbidden = list(base.forbidden) if base else [NO] * len(self._order)
        moved = 0
        for demand in self._order:
            if base and not demand.facts & changed and not demand.requirements & moved:
                continue
            number = demand.number
            before = required[number]
            required[number] = self._verdict(demand.requiring, state, required, verdicts, narrower)
            forbidden[number] = self._verdict(demand.forbidding, state, required, verdicts, narrower)
            if required[number] != before:
                moved |= 1 << number
        if not base:
            for rule, clause in self._rest:
                verdicts[rule] = clause.judge(state, required)
        return Findings(state, said, verdicts, required, forbidden)

    def _verdict(
        self, rules: list[tuple[int, Clause]], state: State, required: list[int], verdicts: list[int], narrower: bool
    ) -> int:
        """The strongest verdict of some rules, each noted; settled ones are kept where less is possible."""
        best = NO
        for rule, clause in rules:
            verdict = verdicts[rule]
            if verdict == UNKNOWN or not narrower:
                verdicts[rule] = verdict = clause.judge(state, required)
            if verdict > best:
                best = verdict
        return best

    def waits_for(self, condition: Condition, findings: Findings) -> frozenset[str]:
        """The facts that keep a condition UNKNOWN; none where it is YES or NO."""
        clause = self.clause(condition)
        if clause.judge(findings.state, findings.required) != UNKNOWN:
            return frozenset()
        if isinstance(condition, Compare):
            return frozenset((condition.fact,))
        if isinstance(condition, Needs):
            return self.requirement_waits_for(condition.requirement, findings)
        parts: Iterable[Condition] = (condition.part,) if isinstance(condition, Not) else condition.parts
        return frozenset().union(*(self.waits_for(part, findings) for part in parts))

    def requirement_waits_for(self, name: str, findings: Findings) -> frozenset[str]:
        """The facts that keep a requirement open."""
        return frozenset().union(
            *(
                self.waits_for(self._rule_clause[rule.name].condition, findings)
                for rule in self.graph.requiring.get(name, ())
                if not findings.rules or findings.rules[self.rule_index[rule.name]] == UNKNOWN
            )
        )

    def holding(self, condition: Condition, findings: Findings) -> frozenset[str]:
        """The facts that make a condition YES, or NO: those an explanation names."""
        clause = self.clause(condition)
        verdict = clause.judge(findings.state, findings.required)
        if isinstance(condition, Compare):
            return frozenset((condition.fact,)) if verdict != UNKNOWN else frozenset()
        if isinstance(condition, Needs):
            return frozenset().union(
                *(
                    self.holding(self._rule_clause[rule.name].condition, findings)
                    for rule in self.graph.requiring.get(condition.requirement, ())
                    if findings.rules[self.rule_index[rule.name]] == verdict
                )
            )
        if isinstance(condition, Not):
            return self.holding(condition.part, findings)
        decisive = YES if isinstance(condition, AnyOf) else NO
        parts = condition.parts
        if verdict == decisive:
            parts = tuple(
                part for part in parts if self.clause(part).judge(findings.state, findings.required) == decisive
            )
        return frozenset().union(*(self.holding(part, findings) for part in parts))

    def truth(self, condition: Condition | None, findings: Findings) -> int:
        """A condition's verdict; no condition holds everywhere."""
        if condition is None:
            return YES
        return self.clause(condition).judge(findings.state, findings.required)


def _all(parts: list[_Judge], state: State, required: list[int]) -> int:
    verdict = YES
    for part in parts:
        found = part(state, required)
        if found == NO:
            return NO
        if found < verdict:
            verdict = found
    return verdict


def _any(parts: list[_Judge], state: State, required: list[int]) -> int:
    verdict = NO
    for part in parts:
        found = part(state, required)
        if found == YES:
            return YES
        if found > verdict:
            verdict = found
    return verdict
