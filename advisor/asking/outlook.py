"""How many questions are still to come, as an estimate from the priors: what an answer is worth is what it saves.

Every open verdict is taken as a formula over the facts that are still open, and asked through in the cheapest order:
of parts that must all hold, the one most likely to settle it first, the next only where that one did not. This gives
each fact a chance of being asked; a fact that several verdicts wait for is asked once. Priors weigh here and nowhere
else, and a wrong one costs questions, never a wrong set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from advisor.facts import Between, OneOf
from advisor.knowledge.conditions import AnyOf, Compare, Condition, Needs, Not
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.infer import Clause, Findings, Judge

# How much likelier a value with a weight of 1 is than one without any
RARE = 0.02
# How much more a question costs for each degree it is harder to answer
HARDER = 0.25
# Of a fact with many values only the likeliest are looked at
LIKELIEST = 6

_Chances = dict[int, float]


@dataclass(frozen=True, slots=True)
class _Formula:
    """A condition with its clause, and its parts where it has any; of a comparison the fact and the cells inside."""

    clause: Clause
    condition: Condition
    parts: tuple[_Formula, ...] = ()
    at: int = -1
    inside: int = 0


class Outlook:
    """Estimates for one graph."""

    def __init__(self, judge: Judge, fits: Sequence[Condition]) -> None:
        self.judge, self.graph = judge, judge.graph
        self.cost = [0.0] * len(self.graph.fact_index)
        self._weights: list[dict[int, float]] = [{} for _ in self.cost]
        self._cell_weights: list[list[float]] = [[] for _ in self.cost]
        for fact, at in self.graph.fact_index.items():
            kind = self.graph.kinds[fact]
            self.cost[at] = 0.0 if kind.topic == "ordering" else 1 + HARDER * (kind.ease - 1)
            self._cell_weights[at] = self._prior(fact)
        self._formulas: dict[Condition, _Formula] = {}
        self._fits = [self._formula(condition) for condition in fits]
        self._verdicts: list[tuple[int, list[_Formula], list[_Formula]]] = []
        self._requiring: dict[str, list[_Formula]] = {}
        for name, number in self.graph.requirement_index.items():
            requirement = self.graph.requirements[name]
            requiring, forbidding = (
                [self._formula(judge.rule_clause(rule.name).condition) for rule in by_target.get(name, ())]
                for by_target in (self.graph.requiring, self.graph.forbidding)
            )
            self._requiring[name] = requiring
            if not requirement.met_by_nothing and not requirement.listed:
                self._verdicts.append((number, requiring, forbidding))

    def _prior(self, fact: str) -> list[float]:
        """The weight of each cell of a fact."""
        cells, kind = self.graph.cells[fact], self.graph.kinds[fact]
        found = [RARE] * cells.full.bit_length()
        for value, weight in kind.prior.items():
            one = Fraction(value) if kind.kind == "quantity" else None
            mask = cells.mask(Between(one, one) if one is not None else OneOf(frozenset((value,))))
            found[mask.bit_length() - 1] += weight
        return found

    def weight(self, at: int, mask: int) -> float:
        """The weight of some cells of a fact together."""
        known = self._weights[at]
        if mask not in known:
            known[mask] = sum(weight for bit, weight in enumerate(self._cell_weights[at]) if mask >> bit & 1)
        return known[mask]

    def _formula(self, condition: Condition) -> _Formula:
        if condition not in self._formulas:
            clause = self.judge.clause(condition)
            if isinstance(condition, Compare):
                made = _Formula(
                    clause, condition, (), self.graph.fact_index[condition.fact], self.graph.mask(condition)
                )
            elif isinstance(condition, Needs):
                made = _Formula(clause, condition)
            else:
                parts = (condition.part,) if isinstance(condition, Not) else condition.parts
                made = _Formula(clause, condition, tuple(self._formula(part) for part in parts))
            self._formulas[condition] = made
        return self._formulas[condition]

    def questions(self, findings: Findings) -> float:
        """How much asking is still to come: questions, each weighed by how hard it is to answer."""
        return sum(chance * self.cost[at] for at, chance in self.chances(findings).items())

    def chances(self, findings: Findings) -> _Chances:
        """How likely each fact, by its number, is still to be asked."""
        chances: _Chances = {}
        for number, requiring, forbidding in self._verdicts:
            if findings.required[number] == UNKNOWN:
                _together(chances, self._several(requiring, findings, YES)[1])
            if findings.forbidden[number] == UNKNOWN:
                _together(chances, self._several(forbidding, findings, YES)[1])
        for formula in self._fits:
            if formula.clause.judge(findings.state, findings.required) == UNKNOWN:
                _together(chances, self._asked(formula, findings)[1])
        return chances

    def _asked(self, formula: _Formula, findings: Findings) -> tuple[float, _Chances]:
        """How likely a formula holds, and for each fact how likely it is asked to settle it."""
        verdict = formula.clause.judge(findings.state, findings.required)
        if verdict != UNKNOWN:
            return verdict / YES, {}
        condition = formula.condition
        if isinstance(condition, Compare):
            left = findings.state[formula.at]
            return self.weight(formula.at, left & formula.inside) / self.weight(formula.at, left), {formula.at: 1.0}
        if isinstance(condition, Needs):
            return self._several(self._requiring[condition.requirement], findings, YES)
        if isinstance(condition, Not):
            holds, chances = self._asked(formula.parts[0], findings)
            return 1 - holds, chances
        return self._several(formula.parts, findings, YES if isinstance(condition, AnyOf) else NO)

    def _several(self, parts: Sequence[_Formula], findings: Findings, deciding: int) -> tuple[float, _Chances]:
        """Parts of which one that comes out as deciding settles the whole, asked in the cheapest order."""
        found = []
        for part in parts:
            holds, chances = self._asked(part, findings)
            settles = holds if deciding == YES else 1 - holds
            if chances:
                found.append((sum(chances.values()) / (settles or 1e-9), settles, chances))
        found.sort(key=lambda entry: entry[0])
        open_still, together = 1.0, dict[int, float]()
        for _, settles, chances in found:
            for at, chance in chances.items():
                reached = open_still * chance
                if reached > together.get(at, 0.0):
                    together[at] = reached
            open_still *= 1 - settles
        return (1 - open_still if deciding == YES else open_still), together

    def after(self, fact: str, findings: Findings) -> float:
        """The asking still to come once a fact is known, over its answers as they are likely."""
        at = self.graph.fact_index[fact]
        left = findings.state[at]
        bits = [1 << bit for bit in range(left.bit_length()) if left >> bit & 1]
        bits = sorted(bits, key=lambda bit: (-self.weight(at, bit), bit))[:LIKELIEST]
        found = total = 0.0
        for bit in bits:
            said = list(findings.said)
            said[at] = bit
            found += self.weight(at, bit) * self.questions(self.judge.infer(said, findings))
            total += self.weight(at, bit)
        return found / total


def _together(chances: _Chances, more: _Chances) -> None:
    """A fact asked for several reasons is asked once: the likeliest reason counts."""
    for at, chance in more.items():
        if chance > chances.get(at, 0.0):
            chances[at] = chance
