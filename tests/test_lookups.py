"""Look-ups: complete, refused where wrong, as outside sources have them, and reached by asking and as commands."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from talking import COMMAND, ROOT, Talk, mind

from advisor.conversation.lookup import LookUp
from advisor.conversation.session import Session
from advisor.conversation.turn import plain
from advisor.errors import KnowledgeError
from advisor.knowledge.graph import KnowledgeGraph
from advisor.knowledge.load import load_knowledge
from advisor.knowledge.lookups import Grounds, Lookups, load_lookups
from advisor.yaml_files import data_folder, read

FILE = Path(__file__).with_name("lookups.yaml")
CHECKS = read(FILE, FILE.name)
KNOWLEDGE = data_folder("knowledge_graph")


@pytest.fixture(scope="module")
def lookups(graph: KnowledgeGraph) -> Lookups:
    return load_lookups(graph, KNOWLEDGE)


@pytest.fixture(scope="module")
def look() -> LookUp:
    return LookUp(mind())


@pytest.fixture
def talk() -> Iterator[Talk]:
    talk = Talk()
    yield talk
    talk.counter.close()


def grounds_of(lookups: Lookups) -> list[Grounds]:
    parts: tuple[dict[str, Any], ...] = (
        dict(lookups.finishes), dict(lookups.functions), dict(lookups.types), dict(lookups.terms), dict(lookups.hands)
    )  # fmt: skip
    return [entry.grounds for part in parts for entry in part.values()]


# The data


def test_every_finish_function_and_type_known_has_an_entry_and_keeps_its_certainty(lookups: Lookups) -> None:
    counted = {
        name: dict(Counter(entry.grounds.certainty for entry in entries.values()))
        for name, entries in (
            ("finishes", dict(lookups.finishes)),
            ("functions", dict(lookups.functions)),
            ("types", dict(lookups.types)),
        )
    }
    assert counted == {
        "finishes": {"two_sources": 19, "verified": 22, "memory": 28, "low": 13},
        "functions": {"two_sources": 17, "verified": 22, "memory": 29, "low": 14},
        "types": {"two_sources": 13, "verified": 39, "memory": 55, "low": 74},
    }


def test_what_is_from_memory_is_marked_so_and_nothing_else_is(lookups: Lookups) -> None:
    for grounds in grounds_of(lookups):
        assert (grounds.source.basis == "from_memory") == (grounds.certainty in ("memory", "low")), grounds.place


def test_every_item_and_family_of_the_graph_is_explained(graph: KnowledgeGraph, lookups: Lookups) -> None:
    explained = {name for term in lookups.terms.values() for name in (term.name, *term.covers)}
    families = {family for item in graph.items.values() for family in item.is_a}
    assert sorted({*graph.items, *families} - explained) == []


def test_no_two_entries_of_the_glossary_go_by_the_same_words(lookups: Lookups) -> None:
    called = Counter(words for term in lookups.terms.values() for words in term.called)
    assert [words for words, count in called.items() if count > 1] == []


def test_likeness_of_another_base_is_mutual_where_both_tell_it(lookups: Lookups) -> None:
    for finish in lookups.finishes.values():
        for other, how in finish.like.items():
            back = lookups.finishes[other].like.get(finish.code)
            assert how != "other_base" or back in ("other_base", None), finish.grounds.place


@pytest.mark.parametrize(
    ("name", "old", "new", "problem"),
    [
        ("finishes", "like: {\"693\": near}", "like: {\"69\": near}", "finishes.yaml:12: There is no finish '69'."),
        ("finishes", "like: {\"693\": near}", "like: {\"693\": alike}", "'693' can't be 'alike'."),
        ("finishes", "like: {\"693\": near}", "like: [a]", "'like' gives other finishes"),
        ("finishes", "  certainty: two_sources", "  certainty: sure", "'certainty' can't be 'sure'."),
        ("finishes", "  certainty: two_sources", "  certainty: low", "What is from memory has certainty memory or low"),
        ("finishes", "look: primer", "sheen: primer", "The key 'sheen' is not known here."),
        ("lock_functions", "lock: mortise", "lock: rim", "'lock' can't be 'rim'."),
        ("lock_functions", "same_as: passage", "same_as: closet", "There is no lock function 'closet'."),
        ("hardware_types", "{work: bhma1,", "{work: bhma99,", "There is no work 'bhma99' in sources.yaml."),
        ("glossary", "covers: [coordinator]", "covers: [coordnator]", "(Did you mean 'coordinator'?)"),
        ("glossary", "    fail_secure: ", "    fail_open: ", "There is no entry of the glossary 'fail_open'."),
        ("hand", "hinges: left", "hinges: up", "'hinges' can't be 'up'."),
        ("sizes", "asks: thickness_in", "asks: thicknes", "There is no fact 'thicknes'."),
        ("sizes", "rules: [access/threshold]", "rules: [access/sill]", "There is no rule 'access/sill'."),
        ("sizes", "shows: [leaf_weight]", "shows: [weight]", "There is no table or figure 'weight'."),
        ("sizes", "title: Closer size", "title: ''", "'title' must be text."),
    ],
)  # fmt: skip
def test_a_wrong_file_is_refused_with_its_place(
    name: str, old: str, new: str, problem: str, graph: KnowledgeGraph, tmp_path: Path
) -> None:
    folder = tmp_path / "knowledge_graph"
    shutil.copytree(KNOWLEDGE / "lookups", folder / "lookups")
    path = folder / "lookups" / f"{name}.yaml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(KnowledgeError) as caught:
        load_lookups(graph, folder)
    assert problem in str(caught.value)
    assert str(caught.value).startswith(f"knowledge_graph/lookups/{name}.yaml:")


def test_a_shop_lays_a_finish_of_its_own_over_ours(tmp_path: Path) -> None:
    own = tmp_path / "own" / "lookups" / "finishes.yaml"
    own.parent.mkdir(parents=True)
    own.write_text(
        '"626": {replaces: "626", us: US26D, look: our satin chrome, base: brass, kind: satin plating,\n'
        "  source: {common_practice: yes}, certainty: verified}\n",
        encoding="utf-8",
    )
    folders = (KNOWLEDGE, tmp_path / "own")
    finish = load_lookups(load_knowledge(*folders), *folders).finishes["626"]
    assert (finish.look, finish.grounds.source.local) == ("our satin chrome", True)


# Against outside sources


@pytest.mark.parametrize("name", CHECKS["finishes"])
def test_a_finish_has_the_code_the_charts_give(name: str, look: LookUp) -> None:
    check = CHECKS["finishes"][name]
    value = look.named(check["asked"].split(), ("finish",)).value
    assert value["bhma"] == check["bhma"], CHECKS["sources"][check["source"]]


@pytest.mark.parametrize("name", CHECKS["finishes"])
def test_the_codes_are_found_both_ways(name: str, look: LookUp) -> None:
    check = CHECKS["finishes"][name]
    value = look.named([check["bhma"]], ("finish",)).value
    assert value["us"] == check["asked"].split()[0], CHECKS["sources"][check["source"]]


@pytest.mark.parametrize("name", CHECKS["functions"])
def test_a_lock_function_has_the_number_the_sources_give(name: str, lookups: Lookups) -> None:
    check = CHECKS["functions"][name]
    numbers = [
        function.number
        for function in lookups.functions.values()
        if (function.lock, function.called) == (check["lock"], check["called"])
    ]
    assert numbers == [check["number"]], CHECKS["sources"][check["source"]]


@pytest.mark.parametrize("name", CHECKS["hands"])
def test_the_hand_is_the_one_the_trade_gives(name: str, look: LookUp) -> None:
    check = CHECKS["hands"][name]
    if "outside_of" in check:
        assert check["side"] in plain(look.hand("left", "away").blocks)
        return
    side = check.get("hinges") or check["active"]
    assert look.hand(side, check["swings"], of_pair="active" in check).value["hand"] == check["hand"]


# In conversation


@pytest.mark.parametrize("check", CHECKS["said"], ids=[check["said"] for check in CHECKS["said"]])
def test_a_customer_gets_it_by_asking(check: dict[str, Any], talk: Talk) -> None:
    turn = talk.say(check["said"])
    assert turn["kind"] == "answer"
    assert [piece for piece in check["has"] if piece not in turn["reply"]] == []
    assert [piece for piece in check.get("not", []) if piece in turn["reply"]] == []
    if "about" in check:
        assert turn["answer"]["about"] == check["about"]
    else:
        assert turn["answer"]["sources"]
    assert "not an approval" in turn["reply"]
    assert turn["facts"] == {}


@pytest.mark.parametrize("said", CHECKS["not_said"])
def test_an_opening_told_is_no_look_up(said: str, talk: Talk) -> None:
    turn = talk.say(said)
    looked_up = {"finish", "lock_function", "hand", "unknown", "wall_rating", *mind().lookups.sizings}
    assert not turn["answer"] or turn["answer"]["about"] not in looked_up | {*mind().lookups.terms}


@pytest.mark.parametrize(
    "said",
    [
        "what is US26D?",
        "what is a coordinator",
        "how many hinges on an 8 foot door",
        "F86?",
        "what is a flangulator",
    ],
)
def test_a_look_up_in_the_middle_loses_nothing_and_the_question_comes_again(said: str, talk: Talk) -> None:
    before = talk.say("pair of hollow metal doors, 90 minutes")
    assert before["question"]
    turn = talk.say(said)
    assert turn["kind"] == "answer"
    assert turn["facts"] == before["facts"]
    assert turn["question"] == before["question"]
    assert before["question"]["text"] in turn["reply"]


def test_a_size_is_taken_from_the_opening_in_hand(talk: Talk) -> None:
    talk.say("single hollow metal door 4080")
    assert "4 hinges" in talk.say("how many hinges")["reply"]


@pytest.mark.parametrize(
    ("asked", "looked_up"), [("finish", False), ("lock_function", False), (None, True), ("egress", True)]
)
def test_a_code_that_may_answer_the_question_is_an_answer(asked: str | None, looked_up: bool, look: LookUp) -> None:
    assert (look.bare_code("626", Session(asked=asked)) is not None) == looked_up
    assert look.bare_code("626?", Session(asked=asked)) is not None


def test_functions_that_fit_alike_are_all_told(look: LookUp) -> None:
    numbers = [entry["number"] for entry in look.function_of(["always locked outside", "free inside"]).value]
    assert {"F86", "F07"} <= set(numbers)


def test_difference_of_items_is_read_from_the_graph(look: LookUp) -> None:
    reply = plain(look.named(["surface rod device", "surface bolt"]).blocks)
    assert "Only surface bolt:" in reply
    assert "Only surface vertical rod:" in reply


@pytest.mark.parametrize("low", ["a156_3_type_22", "a156_4_c02041", "a156_16_l03221"])
def test_what_is_not_confirmed_is_never_told_flatly(low: str, look: LookUp) -> None:
    entry = look.lookups.types[low]
    reply = plain(look.named(entry.number.split()).blocks)
    assert "Not confirmed, so check before relying on it" in reply
    assert "from memory" in reply


# As commands


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, *words], capture_output=True, text=True, cwd=ROOT, check=False)


@pytest.mark.parametrize(
    ("words", "about", "piece"),
    [
        ("finish US26D steel", "626, 652", "652 (US26D)"),
        ("function F86", "F86, electrified_f86_fail_safe, electrified_f86_fail_secure", "storeroom or closet"),
        ("function key outside locks and unlocks --lock bored", "lock_function", "F84"),
        ("hand --hinges left --swings away", "hand", "LH, left hand"),
        ("hand --hinges right --swings toward --pair", "hand", "RHRA"),
        ("what fail safe, fail secure", "fail_safe, fail_secure", "They differ when power fails"),
        ("size hinges --width 36 --height 84", "hinge_size", "3 hinges"),
        ("size closer --width 36 --exterior", "closer_size", "size 4"),
        ("size plates --width 36 --leaves single --accessible", "kick_plate_size", '34" wide'),
        ("wall fire_barrier 2", "wall_rating", "90 minutes"),
        ("wall corridor-wall 1/2", "wall_rating", "20 minutes"),
    ],
)
def test_a_command_answers_in_text_and_as_json(words: str, about: str, piece: str) -> None:
    said = run(*words.split(), "--json")
    assert (said.returncode, said.stderr) == (0, "")
    answer = json.loads(said.stdout)
    assert (answer["version"], answer["about"]) == (1, about)
    assert piece in answer["reply"]
    assert answer["sources"]
    assert "not an approval" in answer["reply"]


@pytest.mark.parametrize(
    ("words", "code", "problem"),
    [
        ("finish US99Z", 1, "Near it: US9"),
        ("function F999", 1, "F90"),
        ("wall fire_barier 2", 2, "Did you mean 'fire_barrier'?"),
        ("wall fire_barrier two", 2, "two: no number of hours"),
        ("size gizmo", 2, "nothing is sized under that"),
        ("size hinges --width wide", 2, "'wide' is no number."),
    ],
)
def test_a_command_says_plainly_what_it_has_not(words: str, code: int, problem: str) -> None:
    said = run(*words.split())
    assert said.returncode == code
    assert problem in said.stdout + said.stderr
    assert "Traceback" not in said.stderr
