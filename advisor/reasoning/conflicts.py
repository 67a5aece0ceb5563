"""Rules that contradict each other, found before anyone is advised, each with facts for which they do.

A pair of rules is looked at by narrowing what each fact may still be until both conditions hold, exceptions included,
or nothing is left. Conditions only compare a fact with its cells, so the search is exact.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from advisor.errors import RuleConflict
from advisor.facts import Between, Possible
from advisor.knowledge.conditions import All, AnyOf, Compare, Condition, Needs, Not, sequence_of
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.lengths import plain
from advisor.knowledge.load import load_knowledge
from advisor.knowledge.parts import Rule
from advisor.reasoning.infer import Judge, State

Goal = tuple[Condition, bool]


def ready(folder: Path) -> Judge:
    """The judge of a knowledge folder in which no two rules disagree.

    Raises:
        KnowledgeError: a file is wrong.
        RuleConflict: two rules disagree for some facts.
    """
    judge = Judge(load_knowledge(folder))
    for conflict in find_conflicts(judge):
        raise conflict
    return judge


def narrowed_to(judge: Judge, *conditions: Condition) -> State | None:
    """What each fact may be where all of these conditions hold; None where no opening fulfils them."""
    return _Search(judge)._narrowed([(condition, True) for condition in conditions], list(judge.full))


def find_conflicts(judge: Judge) -> Iterator[RuleConflict]:
    """Every two rules that require and forbid one thing, or imply two things of one fact, for the same facts."""
    search = _Search(judge)
    graph = judge.graph
    for name, requiring in graph.requiring.items():
        for rule in requiring:
            for other in graph.forbidding.get(name, ()):
                facts = search.facts_for(rule, other)
                if facts is not None:
                    yield _conflict(graph, rule, other, f"requires {name!r}", "forbids it", facts)
    for fact, implying in graph.implying.items():
        for at, rule in enumerate(implying):
            for other in implying[at + 1 :]:
                if _disjoint(graph, rule, other):
                    facts = search.facts_for(rule, other)
                    if facts is not None:
                        yield _conflict(graph, rule, other, f"implies one thing of {fact!r}", "implies another", facts)


def _disjoint(graph: KnowledgeGraph, rule: Rule, other: Rule) -> bool:
    assert rule.implied
    assert other.implied
    return not graph.mask(rule.implied) & graph.mask(other.implied)


def _conflict(
    graph: KnowledgeGraph, rule: Rule, other: Rule, does: str, but: str, facts: dict[str, Possible]
) -> RuleConflict:
    example = ", ".join(f"{fact}: {_written(graph, fact, value)}" for fact, value in facts.items()) or "any opening"
    return RuleConflict(
        rule.place,
        f"{rule.name!r} {does}, {other.name!r} ({other.place}) {but}, and neither is lifted, "
        f"for example for {example}.",
    )


def _written(graph: KnowledgeGraph, fact: str, possible: Possible) -> str:
    if isinstance(possible, Between):
        assert possible.exact is not None
        return f"{plain(possible.exact)} {graph.kinds[fact].unit}"
    return ", ".join(sorted(possible.values))


class _Search:
    """Looks for facts that make conditions hold together."""

    def __init__(self, judge: Judge) -> None:
        self.judge, self.graph = judge, judge.graph

    def facts_for(self, *rules: Rule) -> dict[str, Possible] | None:
        """One value of every fact that matters for which all these rules apply; None where there are none."""
        goals = [(self.judge.rule_clause(rule.name).condition, True) for rule in rules]
        state = self._narrowed(goals, list(self.judge.full))
        if state is None:
            return None
        return {
            fact: self.graph.cells[fact].samples(state[at])[0][1]
            for fact, at in self.graph.fact_index.items()
            if state[at] != self.judge.full[at]
        }

    def _narrowed(self, goals: Sequence[Goal], state: State) -> State | None:
        """The state narrowed until every goal is reached whatever is left; None where that can't be.

        What must hold anyway is worked in first, so that branches are tried over as little as possible.
        """
        waiting, choices = list(goals), list[list[Goal]]()
        while waiting:
            condition, wanted = waiting.pop()
            if isinstance(condition, Needs):
                waiting.append((self._imposed(condition.requirement), wanted))
            elif isinstance(condition, Not):
                waiting.append((condition.part, not wanted))
            elif isinstance(condition, Compare):
                at, inside = self.graph.fact_index[condition.fact], self.graph.mask(condition)
                state[at] &= inside if wanted else ~inside
                if not state[at]:
                    return None
            elif isinstance(condition, All) == wanted:
                waiting += [(part, wanted) for part in condition.parts]
            else:
                choices.append([(part, wanted) for part in condition.parts])
        if not choices:
            return state
        first, *rest = choices
        later: list[Goal] = [(_either(choice), True) for choice in rest]
        for goal in first:
            found = self._narrowed([goal, *later], list(state))
            if found is not None:
                return found
        return None

    def _imposed(self, requirement: str) -> Condition:
        """What brings a requirement into force; nothing can where no rule requires it."""
        rules = self.graph.requiring.get(requirement, ())
        return AnyOf(tuple(self.judge.rule_clause(rule.name).condition for rule in rules))


def _either(choice: Sequence[Goal]) -> Condition:
    return sequence_of([part if wanted else Not(part) for part, wanted in choice], AnyOf)
