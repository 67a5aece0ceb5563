"""The machine-readable turn, version 1: its keys, its kinds, its places in the text, its item names; and the command
line that prints it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from talking import Talk, advisor, conversation, mind

from advisor.knowledge.graph import KnowledgeGraph

talk = pytest.fixture(conversation)

ROLES_NAMED = (
    "hinge continuous_hinge pivot lockset deadbolt exit_device fire_exit_hardware mullion flush_bolt_manual "
    "flush_bolt_automatic flush_bolt_constant_latching auxiliary_fire_bolt dust_proof_strike surface_bolt "
    "coordinator filler_bar carry_bar closer overhead_stop magnetic_hold_open wall_stop floor_stop kick_plate "
    "push_plate pull astragal_overlapping astragal_split perimeter_seal smoke_seal edge_seal_intumescent "
    "sound_seal door_bottom sweep threshold silencer electric_strike magnetic_lock power_transfer power_supply "
    "operator viewer strike rain_drip"
)
ROLES = frozenset(ROLES_NAMED.split())
FACTS_NAMED = (
    "leaves door_material frame_material fire_rating_minutes wall_kind wall_rating_minutes smoke_rated occupancy "
    "room_use normally_occupied occupant_load sprinklered egress inactive_leaf_needed_for_egress exterior "
    "accessible_route electrical_equipment_amps leaf_width_in inactive_leaf_width_in leaf_height_in thickness_in "
    "meeting_edge_gap_in hand swing lock_kind lock_function access_control hold_open closer_wanted traffic "
    "existing_door field_preparation finish code"
)
FACTS = frozenset(FACTS_NAMED.split())
KINDS = frozenset(("question", "recommendation", "answer", "refusal", "not_understood", "goodbye"))
TURN = {
    "version": int,
    "turn": int,
    "kind": str,
    "reply": str,
    "heard": list,
    "facts": dict,
    "question": (dict, type(None)),
    "recommended": (dict, type(None)),
    "answer": (dict, type(None)),
    "not_understood": list,
}
HEARD = {"opening": int, "fact": str, "value": object, "text": str, "start": int, "end": int, "how": str}
QUESTION = {"fact": (str, type(None)), "text": str, "choices": list, "why": str}
RECOMMENDED = {
    "complete": bool,
    "lines": list,
    "assumed": list,
    "cautions": list,
    "unmet": list,
    "alternatives": list,
}
LINE = {
    "leaf": str,
    "item": str,
    "quantity": int,
    "type": str,
    "size": str,
    "hand": str,
    "finish": str,
    "meets": list,
    "because": list,
    "only_if": (str, type(None)),
}
ANSWER = {"about": str, "value": object, "sources": list}


def wrong(data: Any, shape: dict[str, Any], at: str) -> Iterator[str]:
    """What is wrong with an object: a key missing or too many, a value of another type; true is no number."""
    if not isinstance(data, dict):
        yield f"{at}: no object"
        return
    for key in sorted(shape.keys() ^ data.keys()):
        yield f"{at}.{key}: {'missing' if key in shape else 'not in version 1'}"
    for key in sorted(shape.keys() & data.keys()):
        fits = isinstance(data[key], shape[key]) and not (shape[key] is int and isinstance(data[key], bool))
        if not fits:
            yield f"{at}.{key}: {data[key]!r}"


def wrong_texts(data: Any, at: str) -> Iterator[str]:
    """The entries of a list that are no text, or empty."""
    for number, entry in enumerate(data):
        if not isinstance(entry, str) or not entry.strip():
            yield f"{at}[{number}]: {entry!r}"


def wrong_value(fact: str, value: Any, at: str) -> Iterator[str]:
    """A fact's value that is not one of its values, bounds, or a list of several still possible."""
    kind = mind().graph.kinds.get(fact)
    if kind is None:
        yield f"{at}: no such fact"
        return
    if isinstance(value, list):
        if len(value) < 2 or kind.kind == "quantity":
            yield f"{at}: {value!r}"
        for each in value:
            yield from wrong_value(fact, each, at)
    elif isinstance(value, dict):
        if not value or set(value) - {"at_least", "at_most"} or kind.kind != "quantity":
            yield f"{at}: {value!r}"
    elif kind.kind == "yes_no":
        if not isinstance(value, bool):
            yield f"{at}: {value!r}"
    elif kind.kind == "quantity":
        if isinstance(value, bool) or not isinstance(value, int | float):
            yield f"{at}: {value!r}"
    elif kind.kind == "steps":
        if isinstance(value, bool) or str(value) not in kind.choices:
            yield f"{at}: {value!r}"
    elif value not in kind.choices and value not in kind.groups:
        yield f"{at}: {value!r}"


def wrong_turn(turn: Any, said: str | None) -> list[str]:
    """Everything in which a turn is not of version 1; `said` is the message it answers."""
    found = list(wrong(turn, TURN, "turn"))
    if found:
        return found
    if turn["version"] != 1 or turn["kind"] not in KINDS or not turn["reply"].strip():
        found.append(f"turn: {turn['version']} {turn['kind']} {turn['reply']!r}")
    for number, heard in enumerate(turn["heard"]):
        at = f"heard[{number}]"
        found += wrong(heard, HEARD, at)
        if said is not None and not (
            0 <= heard["start"] < heard["end"] <= len(said) and said[heard["start"] : heard["end"]] == heard["text"]
        ):
            found.append(f"{at}: {heard['text']!r} is not at {heard['start']}-{heard['end']} of {said[:80]!r}")
        if heard["how"] not in ("stated", "implied", "denied", "unsure"):
            found.append(f"{at}.how: {heard['how']!r}")
        if heard["value"] is not None:
            found += wrong_value(heard["fact"], heard["value"], f"{at}.value")
        elif heard["how"] != "unsure":
            found.append(f"{at}.value: nothing, yet {heard['how']}")
    for fact, value in turn["facts"].items():
        found += wrong_value(fact, value, f"facts.{fact}")
    found += wrong_texts(turn["not_understood"], "not_understood")
    found += wrong_parts(turn)
    return found


def wrong_parts(turn: dict[str, Any]) -> Iterator[str]:
    """What is wrong with a turn's question, recommended set and answer."""
    kind, question = turn["kind"], turn["question"]
    if question is not None and (problems := list(wrong(question, QUESTION, "question"))):
        yield from problems
    elif question is not None:
        yield from wrong_texts([question["text"], question["why"], *question["choices"]], "question")
        if question["fact"] is not None and question["fact"] not in mind().graph.kinds:
            yield f"question.fact: {question['fact']!r}"
        if len(question["choices"]) == 1 and mind().graph.kinds[question["fact"]].kind != "quantity":
            yield f"question.choices: {question['choices']!r}"
        if question["text"] not in turn["reply"]:
            yield "question.text: not in the reply"
    if (kind == "recommendation") != (turn["recommended"] is not None):
        yield f"recommended: with kind {kind}"
    if (kind == "answer") != (turn["answer"] is not None):
        yield f"answer: with kind {kind}"
    if kind == "question" and question is None:
        yield "question: missing"
    if turn["answer"] is not None:
        yield from wrong(turn["answer"], ANSWER, "answer")
        yield from wrong_texts(turn["answer"]["sources"], "answer.sources")
    if turn["recommended"] is not None:
        yield from wrong_set(turn["recommended"])


def wrong_set(recommended: dict[str, Any]) -> Iterator[str]:
    """What is wrong with a recommended set."""
    yield from wrong(recommended, RECOMMENDED, "recommended")
    for key in ("assumed", "cautions", "unmet"):
        yield from wrong_texts(recommended[key], f"recommended.{key}")
    graph = mind().graph
    for number, line in enumerate(recommended["lines"]):
        at = f"recommended.lines[{number}]"
        yield from wrong(line, LINE, at)
        if line["leaf"] not in ("active", "inactive", "each", "opening") or line["quantity"] < 1:
            yield f"{at}: {line['quantity']} on {line['leaf']}"
        if role_of(graph, line["item"]) is None:
            yield f"{at}.item: {line['item']!r} is none of the roles"
        yield from (f"{at}.meets: {name!r}" for name in line["meets"] if name not in graph.requirements)
        yield from (f"{at}.because: {name!r}" for name in line["because"] if name not in graph.rules)
    for number, other in enumerate(recommended["alternatives"]):
        yield from wrong(other, {"arrangement": str, "why": str, "text": str}, f"recommended.alternatives[{number}]")


def role_of(graph: KnowledgeGraph, item: str) -> str | None:
    """The role an item plays: its own name, or the nearest thing it is a kind of."""
    waiting = [item]
    while waiting:
        name = waiting.pop(0)
        if name in ROLES:
            return name
        waiting += graph.items[name].is_a if name in graph.items else ()
    return None


# The checker itself notices


@pytest.mark.parametrize(
    "change",
    [
        {"version": 2},
        {"kind": "chat"},
        {"turn": True},
        {"reply": ""},
        {"question": {}},
        {"facts": {"leaves": "three"}},
        {"facts": {"leaves": ["pair"]}},
        {"facts": {"sprinklered": "yes"}},
        {"more": 1},
        {"answer": {"about": "x", "value": 1, "sources": []}},
        {
            "heard": [
                {"opening": 1, "fact": "leaves", "value": "pair", "text": "pair", "start": 1, "end": 5, "how": "stated"}
            ]
        },
    ],
)
def test_a_turn_that_is_not_of_version_1_is_noticed(change: dict[str, Any], talk: Talk) -> None:
    turn = talk.say("pair")
    assert wrong_turn(turn, "pair") == []
    assert wrong_turn({**turn, **change}, "pair") != []


def test_a_missing_key_is_noticed(talk: Talk) -> None:
    turn = talk.say("pair")
    for key in turn:
        assert wrong_turn({name: value for name, value in turn.items() if name != key}, "pair") != []


# Turns


CONVERSATIONS = {
    "pieces": [
        "hello",
        "a pair",
        "why?",
        "hollow metal",
        "90 minutes",
        "single",
        "the first",
        "so far",
        "undo",
        "help",
    ],
    "one breath": [
        "pair of hm doors 3070, 90 min, stairwell, offices, 200 people, sprinklered",
        "don't know",
        "why?",
        "zzz blorp",
    ],
    "hedged": ["maybe a 20 minute pair, wood I think, at least 60 people, not sprinklered", "2", "yes", "no"],
    "bounds": ["pair rated 45 minutes or more", "more than 50 people", "between 100 and 200 people", "36 inches wide"],
    "refusals": ["can I chain the exit shut?", "wedge the fire door open", "what does it cost?", "write me a poem"],
    "why not": ["wood pair, 20 minutes, 3-0 7-0", "why not manual flush bolts?", "why the coordinator?", "quit"],
    "nothing": ["", "   ", "blah blah", "?", "42", "yes", "no", "don't know", "start over", "undo", "thanks"],
    "two": ["first door: single wood; second door: a pair of aluminum doors", "the last", "6"],
    "what if": [
        "pair, 90 minutes, hollow metal",
        "what if it were unrated?",
        "forget the rating",
        "what would let me use a mullion",
    ],
}


@pytest.mark.parametrize("name", CONVERSATIONS)
def test_every_turn_is_of_version_1(name: str, talk: Talk) -> None:
    for number, line in enumerate(CONVERSATIONS[name], 1):
        turn = talk.say(line)
        assert wrong_turn(turn, line) == [], line
        assert turn["turn"] == number
        assert json.loads(json.dumps(turn)) == turn


@pytest.mark.parametrize("name", ["pieces", "one breath", "hedged", "bounds", "why not", "two"])
def test_every_set_at_the_end_is_of_version_1(name: str, talk: Talk) -> None:
    for line in CONVERSATIONS[name]:
        if line != "quit":
            talk.say(line)
    if not talk.turns[-1]["question"]:
        talk.say("a hollow metal pair, 90 minutes")
    assert talk.until_set()["recommended"]["lines"] != []
    assert [problem for turn in talk.turns for problem in wrong_turn(turn, None)] == []


def test_every_kind_of_turn_occurs_above(talk: Talk) -> None:
    kinds = {talk.say(line)["kind"] for lines in CONVERSATIONS.values() for line in lines}
    talk.say("start over", "hm pair, 90 min")
    assert kinds | {talk.until_set()["kind"]} == KINDS


def test_every_fact_of_version_1_is_declared(graph: KnowledgeGraph) -> None:
    assert sorted(FACTS - graph.kinds.keys()) == []


def test_every_item_is_a_role_or_declared_to_be_one(graph: KnowledgeGraph) -> None:
    """Families of items are never lines of a set and need no role."""
    chosen = {item.name for members in graph.families.values() for item in members}
    assert len(chosen) > 50
    assert [name for name in sorted(chosen) if role_of(graph, name) is None] == []


@pytest.mark.parametrize(
    "line", ["  a pair,   90 minutes", "a\tpair — hollow metal…", "“PAIR” of HM doors, 3′-0″ x 7′-0″"]
)
def test_places_count_the_characters_as_typed(line: str, talk: Talk) -> None:
    turn = talk.say(line)
    assert turn["heard"] != []
    assert wrong_turn(turn, line) == []


# The command line


def test_ask_prints_one_object(tmp_path: Path) -> None:
    words = "pair of hollow metal doors 3070, 90 minutes, stairwell"
    done = advisor(tmp_path, "ask", "--json", "--no-log", *words.split())
    assert (done.returncode, done.stderr, done.stdout.count(b"\n")) == (0, b"", 1)
    turn = json.loads(done.stdout)
    assert wrong_turn(turn, words) == []
    assert (turn["kind"], turn["recommended"]["complete"]) == ("recommendation", False)
    assert turn["question"] is not None
    assert turn["recommended"]["cautions"][-1] == mind().book.wording["caution"]


def test_chat_prints_one_object_a_line_and_ends_with_quit(tmp_path: Path) -> None:
    lines = ["a pair", "", "90 minutes", "why?", "quit", "never read"]
    done = advisor(tmp_path, "chat", "--json", "--no-log", typed="\n".join(lines).encode())
    turns = [json.loads(line) for line in done.stdout.splitlines()]
    assert (done.returncode, done.stderr) == (0, b"")
    assert [turn["turn"] for turn in turns] == [1, 2, 3, 4, 5]
    assert [problem for turn, said in zip(turns, lines, strict=False) for problem in wrong_turn(turn, said)] == []
    assert turns[-1]["kind"] == "goodbye"


HEAR = {
    "version": int,
    "heard": list,
    "terms": list,
    "wants": list,
    "mentions": list,
    "ambiguous": list,
    "not_understood": list,
}


def test_hear_prints_what_each_line_says_and_concludes_nothing(tmp_path: Path) -> None:
    lines = ["90", "fourty five minutes, not sprinklered", "", "why the closer? zzzgrmpf"]
    done = advisor(
        tmp_path, "hear", "--json", "--asked", "fire_rating_minutes", typed="\n".join(lines).encode() + b"\n"
    )
    heard = [json.loads(line) for line in done.stdout.splitlines()]
    assert (done.returncode, done.stderr, len(heard)) == (0, b"", 4)
    for said, one in zip(lines, heard, strict=True):
        assert list(wrong(one, HEAR, "hear")) == []
        for each in one["heard"]:
            assert list(wrong(each, HEARD, "heard")) == []
        for each in (*one["heard"], *one["wants"], *one["mentions"]):
            assert said[each["start"] : each["end"]] == each["text"]
    assert [(each["fact"], each["value"]) for each in heard[0]["heard"]] == [("fire_rating_minutes", 90)]
    assert ("sprinklered", False) in [(each["fact"], each["value"]) for each in heard[1]["heard"]]
    assert heard[2]["heard"] == []
    assert heard[3]["wants"][0]["want"] == "why"
    assert "zzzgrmpf" in " ".join(heard[3]["not_understood"])


def test_hear_refuses_a_fact_there_is_not(tmp_path: Path) -> None:
    done = advisor(tmp_path, "hear", "--json", "--asked", "colour_of_the_sky", "90")
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"colour_of_the_sky: no such fact" in done.stderr
