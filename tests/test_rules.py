"""Runs every case in knowledge_graph/rules, and turns every condition round to see that a case notices.

`pytest -k fire/closes` runs one rule's cases. A list of values is covered by one case that gives the whole list
(`given: {room_use: [a, b]}`): it then applies only while every value does.
"""

from __future__ import annotations

import pytest

from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import load_knowledge
from advisor.reasoning.check import blunt_parts, wrong_cases
from advisor.reasoning.infer import Judge
from advisor.yaml_files import data_folder

RULES = sorted(load_knowledge(data_folder("knowledge_graph")).rules)


@pytest.mark.parametrize("name", RULES)
def test_the_cases_come_out_as_they_say(name: str, graph: KnowledgeGraph, judge: Judge) -> None:
    assert list(wrong_cases(judge, graph.rules[name])) == []


@pytest.mark.parametrize("name", RULES)
def test_some_case_notices_every_change_to_the_condition(name: str, graph: KnowledgeGraph, judge: Judge) -> None:
    assert list(blunt_parts(judge, graph.rules[name])) == []


@pytest.mark.parametrize("name", RULES)
def test_the_rule_has_cases(name: str, graph: KnowledgeGraph) -> None:
    assert graph.rules[name].cases
