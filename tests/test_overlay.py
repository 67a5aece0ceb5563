"""A shop's own folder laid over the built-in knowledge: it adds, and replaces only what it names."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.conversation.counter import Counter
from advisor.conversation.mind import build
from advisor.errors import KnowledgeError, RuleConflict
from advisor.knowledge.load import fingerprint, load_knowledge
from advisor.yaml_files import data_folder

BUILT_IN = data_folder("knowledge_graph")

HOUSE_RULE = """
rule: This house fits kick plates on every classroom door
{replaces}
requires: [push_side_plate]
when: {{room_use: classroom}}
because: Children open doors with their feet.
source: {{common_practice: true}}
strength: good_practice
cases:
  - {{name: a classroom, given: {{room_use: classroom}}, expect: applies}}
  - {{name: an office, given: {{room_use: office}}, expect: does not apply}}
"""


def write(folder: Path, name: str, text: str) -> Path:
    file = folder / "rules" / name
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text)
    return folder


def test_a_house_rule_is_added_and_marked_local(tmp_path: Path) -> None:
    shop = write(tmp_path / "shop", "house/plates.yaml", HOUSE_RULE.format(replaces=""))

    graph = load_knowledge(BUILT_IN, shop)

    assert graph.rules["house/plates"].source.local
    assert not graph.rules["fire/active_leaf_closes"].source.local
    assert len(graph.rules) == len(load_knowledge(BUILT_IN).rules) + 1


def test_a_house_rule_shows_as_local_where_it_is_the_reason(tmp_path: Path) -> None:
    shop = write(tmp_path / "shop", "house/plates.yaml", HOUSE_RULE.format(replaces=""))
    counter = Counter(build([shop]))

    turn = counter.say("single 3070 wood classroom door, not rated, new, 20 people, sprinklered", one_shot=True)["turn"]
    counter.close()

    assert "This house fits kick plates on every classroom door [common practice, local]" in turn["reply"]


def test_a_rule_of_the_same_name_is_refused_unless_it_says_what_it_replaces(tmp_path: Path) -> None:
    shop = write(tmp_path / "shop", "protecting/kick_plate.yaml", HOUSE_RULE.format(replaces=""))

    with pytest.raises(KnowledgeError, match=r"kick_plate' is already declared at .*Name it under 'replaces'"):
        load_knowledge(BUILT_IN, shop)


def test_a_rule_takes_the_place_of_the_one_it_names(tmp_path: Path) -> None:
    text = HOUSE_RULE.format(replaces="replaces: protecting/kick_plate")
    shop = write(tmp_path / "shop", "protecting/kick_plate.yaml", text)

    graph = load_knowledge(BUILT_IN, shop)

    assert graph.rules["protecting/kick_plate"].sentence == "This house fits kick plates on every classroom door"


def test_replacing_what_is_not_there_is_refused_with_a_near_name(tmp_path: Path) -> None:
    text = HOUSE_RULE.format(replaces="replaces: protecting/kick_plat")
    shop = write(tmp_path / "shop", "house/plates.yaml", text)

    with pytest.raises(KnowledgeError, match=r"plates.yaml:3: .*protecting/kick_plat.*Did you mean"):
        load_knowledge(BUILT_IN, shop)


def test_the_built_in_folder_replaces_nothing(tmp_path: Path) -> None:
    text = HOUSE_RULE.format(replaces="replaces: protecting/kick_plate")
    for path in BUILT_IN.rglob("*.yaml"):
        copy = tmp_path / "knowledge_graph" / path.relative_to(BUILT_IN)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(path.read_bytes())
    write(tmp_path / "knowledge_graph", "house/plates.yaml", text)

    with pytest.raises(KnowledgeError, match="nothing below called"):
        load_knowledge(tmp_path / "knowledge_graph")


def test_a_local_rule_against_a_built_in_one_is_refused_naming_both(tmp_path: Path) -> None:
    shop = write(
        tmp_path / "shop",
        "house/no_holders.yaml",
        HOUSE_RULE.format(replaces="").replace("requires: [push_side_plate]", "forbids: [released_hold_open]"),
    )

    with pytest.raises(RuleConflict, match=r"released_hold_open.*house/no_holders"):
        build([shop])


def test_the_fingerprint_changes_with_what_is_laid_over(tmp_path: Path) -> None:
    shop = write(tmp_path / "shop", "house/plates.yaml", HOUSE_RULE.format(replaces=""))

    assert fingerprint(BUILT_IN) != fingerprint(BUILT_IN, shop)
