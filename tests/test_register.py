"""Every fact of the reference lives somewhere: in a rule, item, arrangement, table or figure, or in the register.

The register (`register/*.yaml`) names the facts that nothing carries and says why. `all_ids.yaml` lists every id and
how sure it is. The second reading says the same again and may be cited, but need not be.
"""

from __future__ import annotations

from collections import Counter
from itertools import chain
from pathlib import Path

import pytest

from advisor.knowledge.graph import KnowledgeGraph
from advisor.yaml_files import Mapping, read

REGISTER = Path(__file__).parent / "register"
LISTS = sorted(path for path in REGISTER.glob("*.yaml") if path.name != "all_ids.yaml")
ALSO_CARRIED = "also carried: "


@pytest.fixture(scope="module")
def known() -> dict[str, Mapping]:
    listed: dict[str, Mapping] = read(REGISTER / "all_ids.yaml")
    return listed


@pytest.fixture(scope="module")
def carried(graph: KnowledgeGraph) -> dict[str, list[str]]:
    """Each fact's id and the places that rest on it."""
    found: dict[str, list[str]] = {}
    parts = (graph.rules, graph.items, graph.arrangements, graph.tables, graph.figures)
    for part in chain.from_iterable(each.values() for each in parts):
        for fact in part.facts:
            found.setdefault(fact, []).append(f"{part.place} {part.name}")
    return found


@pytest.fixture(scope="module")
def registered() -> dict[str, str]:
    """Each registered fact's id and the reason nothing carries it."""
    found: dict[str, str] = {}
    for path in LISTS:
        for fact, reason in read(path).items():
            assert fact not in found, f"{fact} is registered twice, the second time in {path.name}"
            assert isinstance(reason, str)
            assert len(reason.split()) >= 3, f"{path.name}: {fact} gives no reason"
            found[fact] = reason
    return found


def test_every_fact_is_carried_or_registered(
    known: dict[str, Mapping], carried: dict[str, list[str]], registered: dict[str, str]
) -> None:
    needed = chain.from_iterable(ids for group, ids in known.items() if group != "second reading")
    assert [fact for fact in needed if fact not in carried and fact not in registered] == []


def test_every_id_is_one_of_the_reference(
    known: dict[str, Mapping], carried: dict[str, list[str]], registered: dict[str, str]
) -> None:
    ids = set(chain.from_iterable(known.values()))
    assert {fact: places for fact, places in carried.items() if fact not in ids} == {}
    assert [fact for fact in registered if fact not in ids] == []


def test_no_registered_fact_is_carried_unless_the_register_says_so(
    carried: dict[str, list[str]], registered: dict[str, str]
) -> None:
    both = {fact: carried[fact] for fact in registered if fact in carried}
    assert {fact: places for fact, places in both.items() if not registered[fact].startswith(ALSO_CARRIED)} == {}
    marked = [fact for fact, reason in registered.items() if reason.startswith(ALSO_CARRIED)]
    assert [fact for fact in marked if fact not in both] == []


def test_what_a_fact_from_memory_alone_carries_says_so(known: dict[str, Mapping], graph: KnowledgeGraph) -> None:
    """A rule that requires or forbids and rests on nothing but facts from memory cites memory, not a work read."""
    sure = {fact: how for ids in known.values() for fact, how in ids.items()}
    wrong = []
    for rule in graph.rules.values():
        if rule.effect in ("requires", "forbids") and rule.facts:
            from_memory = all(sure.get(fact) == "memory" for fact in rule.facts)
            if from_memory and rule.source.basis == "cited":
                wrong.append(f"{rule.place} {rule.name}: {', '.join(rule.facts)}")
    assert wrong == []


def test_the_facts_are_counted(known: dict[str, Mapping], carried: dict[str, list[str]]) -> None:
    counted = Counter(how for ids in known.values() for how in ids.values())
    assert len(carried) > 500
    assert set(counted) == {"verified", "partly memory", "memory", "policy", "reading"}
