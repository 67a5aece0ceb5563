"""Why a line stands in the set: paths in the knowledge graph, from facts through rule and requirement to item."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.knowledge.graph import KnowledgeGraph
from advisor.logic import NO, YES
from advisor.reasoning.infer import Findings, Judge
from advisor.reasoning.recommend import Line

WEIGHT = {"code": 0, "listing": 1, "good_practice": 2}


@dataclass(frozen=True, slots=True)
class Path:
    """One path: the facts that make the rule hold, the rule, the requirement, the item.

    ``certain`` is False while the rule still waits for facts.
    """

    facts: tuple[str, ...]
    rule: str
    requirement: str
    item: str
    certain: bool

    def nodes(self, graph: KnowledgeGraph, findings: Findings) -> list[str]:
        """The path's nodes: one value that holds, the rule, the requirement, the item."""
        rule = f"rule:{self.rule}"
        held = [
            node
            for node in sorted(graph.nx.predecessors(rule))
            if node.startswith(("value:", "fact:")) and node.split(":", 1)[1].split("=")[0] in self.facts
        ]
        return [*held[:1], rule, f"requirement:{self.requirement}", f"item:{self.item}"]


def paths(judge: Judge, line: Line, findings: Findings) -> tuple[Path, ...]:
    """For each requirement a line meets, the weightiest rule behind it, read from the graph's edges."""
    graph = judge.graph
    found = []
    item = f"item:{line.item}"
    for requirement in line.meets:
        node = f"requirement:{requirement}"
        if not graph.nx.has_edge(node, item):
            continue
        rules = [
            graph.rules[before.removeprefix("rule:")]
            for before in graph.nx.predecessors(node)
            if before.startswith("rule:") and graph.nx.edges[before, node]["how"] == "requires"
        ]
        verdicts = {rule.name: findings.rules[judge.rule_index[rule.name]] for rule in rules}
        rules = [rule for rule in rules if verdicts[rule.name] != NO]
        rules.sort(key=lambda rule: (-verdicts[rule.name], WEIGHT[rule.strength], rule.name))
        if rules:
            rule = rules[0]
            certain = verdicts[rule.name] == YES
            facts = judge.holding(judge.rule_clause(rule.name).condition, findings) if certain else frozenset()
            found.append(Path(tuple(sorted(facts)), rule.name, requirement, line.item, certain))
    return tuple(found)
