"""Whole turns, through rasa-sdk's executor: what is said, corrected, contradicted, asked back, and told with a set."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import networkx
import pytest
from talking import Talk, advisor, conversation, mind

from advisor.conversation.session import from_slots
from advisor.facts import Entry, FactSheet, OneOf
from advisor.reasoning.explain import paths

talk = pytest.fixture(conversation)
another = pytest.fixture(conversation)

PIECES = ("a pair", "hollow metal", "90 minutes", "a stairwell in an office building", "3070 each leaf", "200 people")
ONE_BREATH = "pair of hollow metal doors, 90 minutes, a stairwell in an office building, 3070 each leaf, 200 people"
SINGLE = "single hollow metal door 3070, 20 minutes, corridor in an office building, new, interior, sprinklered"


def caution() -> str:
    return mind().book.wording["caution"]


# Pieces, one breath, and answers of every form


def test_pieces_and_one_breath_come_to_the_same_facts_and_the_same_set(talk: Talk, another: Talk) -> None:
    talk.say(*PIECES)
    another.say(ONE_BREATH)
    assert talk.turns[-1]["facts"] == another.turns[-1]["facts"]
    assert len(talk.turns[-1]["facts"]) == 8
    assert talk.until_set()["recommended"] == another.until_set()["recommended"]


def test_a_word_and_a_number_answer_the_question_asked(talk: Talk) -> None:
    talk.say("a hollow metal pair")
    talk.until_asked("fire_rating_minutes")
    assert talk.say("90")["facts"]["fire_rating_minutes"] == 90
    talk.until_asked("room_use")
    assert talk.say("stairwell")["facts"]["room_use"] == "stairwell"


LEADS = {
    "door_material": ("a pair", "a pair, 90 minutes", "a single door, 180 minutes"),
    "leaves": ("hollow metal", "wood, 20 minutes"),
}


@pytest.mark.parametrize(("fact", "lead"), [(fact, lead) for fact, leads in LEADS.items() for lead in leads])
def test_the_number_shown_beside_a_choice_picks_that_choice(fact: str, lead: str, talk: Talk) -> None:
    """Choices that are ruled out are left away, so that the numbers shown are not those of all choices."""
    named = {choice.label: choice.value for choice in mind().book.questions[fact].choices}
    talk.say(lead)
    shown = talk.until_asked(fact)
    for number, label in enumerate(shown["choices"], 1):
        for words in (str(number), f" {number}. ", *([f"number {number}"] if number <= 6 else [])):
            said = talk.say(words)["facts"].get(fact)
            assert said == named.get(label), words
            assert talk.say("undo")["question"] == shown
    assert label == mind().book.questions[fact].unsure


def test_a_place_among_the_choices_shown_picks_that_choice(talk: Talk) -> None:
    talk.say("a pair, 90 minutes")
    shown = talk.until_asked("door_material")["choices"]
    assert len(shown) < len(mind().book.questions["door_material"].choices)
    assert shown.index("wood with a mineral core") == 1
    assert talk.say("the second one")["facts"]["door_material"] == "wood_mineral_core"
    talk.say("undo")
    assert talk.say("the last")["facts"]["door_material"] == "glass"


def test_a_number_beyond_the_choices_shown_asks_again(talk: Talk) -> None:
    talk.say("a pair, 90 minutes")
    asked = talk.until_asked("door_material")
    for number in ("7", "8", "77"):
        again = talk.say(number)
        assert number in again["reply"].split("\n\n")[0]
        assert "door_material" not in again["facts"]
    assert talk.say("hm")["facts"]["door_material"] == "hollow_metal"
    assert len(asked["choices"]) == 6


def test_the_answers_to_a_question_of_minutes_bear_no_numbers(talk: Talk) -> None:
    """ "3" would be the third line to one customer and three hours to another."""
    talk.say("hollow metal pair, stairwell")
    talk.until_asked("fire_rating_minutes")
    assert "3 hours" in talk.turns[-1]["reply"].splitlines()
    assert not any(line.strip()[:2] in ("1.", "2.", "3.") for line in talk.turns[-1]["reply"].splitlines())
    assert talk.say("3")["facts"].get("fire_rating_minutes", 180) == 180


@pytest.mark.parametrize(("word", "value"), [("yes", True), ("no", False), ("yep", True), ("nope", False)])
def test_yes_and_no_answer_a_question_that_takes_them(word: str, value: bool, talk: Talk) -> None:
    talk.say(ONE_BREATH)
    for _ in range(40):
        question = talk.turns[-1]["question"]
        assert question, "no question that takes yes and no was asked"
        if mind().graph.kinds[question["fact"]].kind == "yes_no":
            assert talk.say(word)["facts"][question["fact"]] is value
            return
        talk.say("don't know")


def test_an_unknown_answer_closes_the_question_and_the_set_says_what_hangs_on_it(talk: Talk) -> None:
    talk.say("hollow metal pair, 90 minutes, 3070 leaves, new doors, indoors, office")
    found = talk.until_set()
    asked = [turn["question"]["fact"] for turn in talk.turns if turn["question"]]
    assert sorted(set(asked)) == sorted(asked)
    assert len(asked) >= 3
    assert found["question"] is None
    assert not set(asked) & found["facts"].keys()
    conditions = {line["only_if"] for line in found["recommended"]["lines"]} - {None}
    assert conditions != set()
    wording = mind().book.wording
    assert f"{wording['only_if']}\n" in found["reply"]
    named = [fact for fact in asked if any(wording[f"fact_{fact}"] in condition for condition in conditions)]
    assert named != []
    closed = talk.say("so far")["reply"]
    for fact in asked:
        assert wording["so_far_closed"].format(fact=wording[f"fact_{fact}"]) in closed


def test_not_knowing_the_rest_of_a_fact_keeps_what_was_said_of_it(talk: Talk) -> None:
    talk.say("a pair of wood doors, 20 minutes")
    found = talk.until_set()
    asked = [turn["question"]["fact"] for turn in talk.turns if turn["question"]]
    assert asked.count("door_material") == 1
    assert found["facts"]["door_material"] == "wood"
    assert talk.say("mineral core")["facts"]["door_material"] == "wood_mineral_core"


@pytest.mark.parametrize("words", ["why?", "help?", "is it 90 minutes?"])
def test_a_question_mark_within_a_message_is_no_answer(words: str, talk: Talk) -> None:
    asked = talk.say("a pair, 20 minutes or more")["question"]["fact"]
    talk.say(words)
    assert asked not in from_slots(talk.counter._slots).closed


def test_a_question_closed_is_open_again_once_the_customer_knows(talk: Talk) -> None:
    talk.say("a pair, 90 minutes")
    talk.until_asked("door_material")
    assert "door_material" not in talk.say("don't know")["facts"]
    assert talk.say("it is hollow metal")["facts"]["door_material"] == "hollow_metal"


# Corrections and contradictions


def test_a_correction_replaces_without_a_question(talk: Talk) -> None:
    talk.say("a pair of wood doors, 20 minutes")
    turn = talk.say("sorry, hollow metal")
    assert turn["facts"] == {"door_material": "hollow_metal", "fire_rating_minutes": 20, "leaves": "pair"}
    assert turn["question"]["fact"] != "door_material"


@pytest.mark.parametrize(
    ("first", "second", "fact", "answers"),
    [
        ("a pair", "a single door", "leaves", {"pair": "pair", "single": "single", "the first": "pair"}),
        ("90 minutes", "20 minutes", "fire_rating_minutes", {"90": 90, "20": 20, "the second": 20, "45 minutes": 45}),
        ("200 people", "40 people", "occupant_load", {"200": 200, "40 people": 40, "the latter": 40}),
        ("hollow metal", "aluminum", "door_material", {"aluminum": "aluminum", "the former": "hollow_metal"}),
        ("sprinklered", "not sprinklered", "sprinklered", {"sprinklered": True, "the second": False}),
    ],
)
def test_a_contradiction_names_both_and_the_answer_settles_it(
    first: str, second: str, fact: str, answers: dict[str, object]
) -> None:
    wording = mind().book.wording
    for answer, value in answers.items():
        talk = Talk()
        before = talk.say(first)["facts"]
        turn = talk.say(second)
        assert (turn["kind"], turn["question"]["fact"]) == ("question", fact)
        one, other = turn["question"]["choices"]
        assert one != other
        assert turn["reply"] == wording["contradiction"].format(before=one, now=other, fact=wording[f"fact_{fact}"])
        assert turn["facts"] == before
        settled = talk.say(answer)
        assert settled["facts"][fact] == value, answer
        assert settled["question"] is None or settled["question"]["fact"] != fact
        talk.counter.close()


@pytest.mark.parametrize("beside", ["no", "yes", "why?", "mumble grumble"])
def test_what_settles_nothing_leaves_the_contradiction_standing(beside: str, talk: Talk) -> None:
    """A bare "no" is no statement that the door is unrated."""
    talk.say("a pair", "90 minutes", "20 minutes")
    turn = talk.say(beside)
    assert (turn["question"]["fact"], turn["facts"]["fire_rating_minutes"]) == ("fire_rating_minutes", 90)
    assert turn["question"]["choices"] == ["90 minutes", "20 minutes"]
    assert talk.say("20 minutes")["facts"]["fire_rating_minutes"] == 20


def test_not_knowing_which_holds_closes_the_fact(talk: Talk) -> None:
    talk.say("a pair", "90 minutes", "20 minutes")
    turn = talk.say("I don't know")
    assert "fire_rating_minutes" not in turn["facts"]
    talk.until_set()
    assert [
        turn for turn in talk.turns[4:] if turn["question"] and turn["question"]["fact"] == "fire_rating_minutes"
    ] == []


def test_two_contradictions_in_one_message_are_both_asked(talk: Talk) -> None:
    talk.say("a hollow metal pair, 90 minutes")
    first = talk.say("single, 20 minutes")["question"]["fact"]
    second = talk.say("the second")["question"]["fact"]
    assert {first, second} == {"leaves", "fire_rating_minutes"}
    facts = talk.say("the second")["facts"]
    assert (facts["leaves"], facts["fire_rating_minutes"]) == ("single", 20)


def test_a_pair_said_to_be_single_later_never_becomes_single_unasked(talk: Talk) -> None:
    talk.say("pair of hollow metal doors, 90 minutes")
    turn = talk.say("it's a single door")
    assert turn["facts"]["leaves"] == "pair"
    assert turn["question"]["choices"] == ["pair", "single door"]
    assert talk.say("single")["facts"]["leaves"] == "single"
    lines = talk.until_set()["recommended"]["lines"]
    assert {line["leaf"] for line in lines} <= {"active", "opening"}


# Impossible


@pytest.mark.parametrize(
    "said",
    ["9999 inches wide", "a door 9999 inches tall", "9999 x 84", "single door, 9999 inches by 84 inches", "84 x 9999"],
)
def test_an_impossible_size_gets_a_remark_and_is_not_kept(said: str, talk: Talk) -> None:
    turn = talk.say(said)
    assert "9999" in turn["reply"].split("\n\n")[0]
    assert set(turn["facts"].values()) <= {84, "single"}


# Why


def test_why_after_a_question_tells_why_with_rules_and_asks_again(talk: Talk) -> None:
    asked = talk.say("a pair of hollow metal doors, stairwell")["question"]
    turn = talk.say("why?")
    assert turn["kind"] == "answer"
    assert turn["answer"]["about"] == asked["fact"]
    assert turn["answer"]["value"] == asked["why"]
    assert turn["answer"]["sources"] != []
    assert all(source in turn["reply"] for source in turn["answer"]["sources"])
    assert turn["question"] == asked


def test_why_after_a_set_traces_every_line(talk: Talk) -> None:
    talk.say(SINGLE)
    found = talk.until_set()
    turn = talk.say("why?")
    assert (turn["kind"], turn["answer"]["about"]) == ("answer", "set")
    assert len(turn["answer"]["value"]) == len(found["recommended"]["lines"])
    assert turn["answer"]["sources"] != []


def test_why_about_an_item_speaks_of_that_item_alone(talk: Talk) -> None:
    talk.say(SINGLE)
    talk.until_set()
    turn = talk.say("why the closer?")
    assert turn["answer"]["about"] == "closer"
    assert len(turn["answer"]["value"]) == 1
    assert turn["answer"]["value"][0].startswith(mind().graph.items["closer"].title)


def test_why_about_a_family_of_items_finds_its_members(talk: Talk) -> None:
    talk.say(
        "90 minute hollow metal pair, accessible route, existing: no, one leaf is enough, office building corridor"
    )
    lines = talk.until_set()["recommended"]["lines"]
    bolts = [line["item"] for line in lines if mind().graph.is_a(line["item"], "flush_bolt")]
    turn = talk.say("why the flush bolts?")
    assert bolts != []
    assert len(turn["answer"]["value"]) == len(bolts)


@pytest.mark.parametrize(
    ("words", "item"),
    [("why no mullion?", "mullion"), ("why the mullion?", "mullion"), ("why not a deadbolt?", "deadbolt")],
)
def test_why_about_an_item_that_is_not_there_says_why_not(words: str, item: str, talk: Talk) -> None:
    talk.say(SINGLE)
    lines = talk.until_set()["recommended"]["lines"]
    assert {"mullion", "deadbolt"} & {line["item"] for line in lines} == set()
    turn = talk.say(words)
    assert (turn["kind"], turn["answer"]["about"]) == ("answer", item)
    assert turn["answer"]["value"] != []
    assert turn["reply"].startswith(mind().book.wording["why_not_title"].format(item=""))


def test_why_about_a_fact_tells_of_that_fact_and_asks_the_open_question_again(talk: Talk) -> None:
    asked = talk.say("a pair, 90 minutes")["question"]
    turn = talk.say("why do you ask about the rating?")
    assert asked["fact"] != "fire_rating_minutes"
    assert turn["answer"]["about"] == "fire_rating_minutes"
    assert turn["answer"]["value"] == mind().book.questions["fire_rating_minutes"].why
    assert turn["question"] == asked


def test_why_before_anything_was_said_is_answered(talk: Talk) -> None:
    turn = talk.say("why?")
    assert (turn["kind"], turn["reply"]) == ("answer", mind().book.wording["why_nothing"])


# Steps back, lists, talk


def test_start_over_forgets_everything_and_keeps_counting_turns(talk: Talk) -> None:
    talk.say(SINGLE)
    turn = talk.say("start over")
    assert (turn["facts"], turn["question"], turn["turn"]) == ({}, None, 2)
    fresh = talk.say("a pair")
    assert fresh["facts"] == {"leaves": "pair"}


def test_undo_takes_back_one_step_at_a_time(talk: Talk) -> None:
    before = [talk.say(piece)["facts"] for piece in PIECES[:4]]
    for facts in reversed(before[:-1]):
        assert talk.say("undo")["facts"] == facts
    assert talk.say("undo")["facts"] == {}
    assert talk.say("undo")["reply"] == mind().book.wording["undone_nothing"]


def test_undo_takes_back_the_contradicting_words_alone(talk: Talk) -> None:
    before = talk.say("a pair", "90 minutes")
    talk.say("20 minutes")
    turn = talk.say("undo")
    assert (turn["facts"], turn["question"]) == (before["facts"], before["question"])


def test_undo_opens_a_closed_question_again(talk: Talk) -> None:
    asked = talk.say("a pair, 90 minutes")["question"]
    assert talk.say("don't know")["question"] != asked
    assert talk.say("undo")["question"] == asked


def test_so_far_lists_every_fact_in_the_customers_words(talk: Talk) -> None:
    talk.say("a wood pair, 20 minutes")
    turn = talk.say("what do you have so far?")
    assert turn["kind"] == "answer"
    assert turn["answer"]["value"] == talk.turns[0]["facts"]
    for heard in talk.turns[0]["heard"]:
        if heard["how"] != "implied":
            assert f'"{heard["text"]}"' in turn["reply"]


@pytest.mark.parametrize(("words", "key"), [("hello", "greeting"), ("thank you", "thanks"), ("help", "help")])
def test_a_greeting_thanks_and_help_are_answered_in_kind(words: str, key: str, talk: Talk) -> None:
    turn = talk.say(words)
    assert (turn["kind"], turn["reply"]) == ("answer", mind().book.wording[key])


def test_courtesies_within_a_conversation_do_not_lose_the_question(talk: Talk) -> None:
    asked = talk.say("a pair, 90 minutes")["question"]
    for words in ("thank you", "hello", "help"):
        assert talk.say(words)["question"] == asked


@pytest.mark.parametrize("words", ["quit", "bye", "exit"])
def test_quit_says_good_bye(words: str, talk: Talk) -> None:
    assert talk.say(words)["kind"] == "goodbye"


# What goes with every set


def test_a_hedged_statement_is_noted_so_and_listed_as_assumed(talk: Talk) -> None:
    wording = mind().book.wording
    first = talk.say("pair of hollow metal doors, maybe 90 minutes, stairwell")
    assert [heard["how"] for heard in first["heard"] if heard["fact"] == "fire_rating_minutes"] == ["unsure"]
    found = talk.until_set()
    line = wording["assumed_hedged"].format(fact=wording["fact_fire_rating_minutes"], value="90 minutes")
    assert line in found["recommended"]["assumed"]
    assert f"  {line}" in found["reply"].splitlines()
    settled = talk.say("sorry, 90 minutes for certain")
    assert line not in settled["recommended"]["assumed"]


OPENINGS = (
    ONE_BREATH,
    SINGLE,
    "pair of wood doors, 20 minutes, hospital corridor",
    "unrated aluminum pair, store entrance, 300 people",
    "double egress pair, hospital, smoke barrier",
    "glass door",
    "pair, three hours, warehouse",
    "closet door",
)


@pytest.mark.parametrize("opening", OPENINGS)
def test_every_set_carries_the_caution_and_its_explanation(opening: str, talk: Talk, another: Talk) -> None:
    once = another.counter.say(opening, one_shot=True)
    assert_explained(once, from_slots(another.counter._slots).sheet)
    talk.say(opening)
    talk.until_set()
    assert_explained(talk.messages[-1], from_slots(talk.counter._slots).sheet)


def assert_explained(message: dict[str, Any], sheet: FactSheet) -> None:
    """The caution is there; every line shown stands under "What it rests on"; and each path of every line leads edge by
    edge through the graph.
    """
    turn = message["turn"]
    assert caution() in turn["reply"]
    assert turn["recommended"]["cautions"][-1] == caution()
    judge, wording = mind().judge, mind().book.wording
    judged = judge.infer(judge.said(sheet))
    recommended = mind().recommender.recommend(judged)
    assert len(recommended.lines) == len(turn["recommended"]["lines"])
    shown = [row for block in message["blocks"] for row in block["rows"]]
    headings = next(list(block["headings"]) for block in message["blocks"] if block["headings"])
    told = [line for block in message["blocks"] if block["title"] == wording["rests_on"] for line in block["lines"]]
    assert len(told) == len(shown)
    if turn["recommended"]["complete"]:
        titles = {judge.graph.items[line.item].title for line in recommended.lines}
        assert {row[headings.index(wording["column_item"])] for row in shown} == titles != set()
    for line in recommended.lines:
        walked = paths(judge, line, judged)
        for path in walked:
            nodes = path.nodes(judge.graph, judged)
            assert nodes[-3:] == [f"rule:{path.rule}", f"requirement:{path.requirement}", f"item:{line.item}"]
            assert [edge for edge in pairwise(nodes) if not judge.graph.nx.has_edge(*edge)] == []
            starts = [f"fact:{fact}" for fact in path.facts]
            assert not starts or any(networkx.has_path(judge.graph.nx, start, nodes[0]) for start in starts), nodes
        if not walked:
            assert brought(line.brought_by, recommended.arrangements, line.item), line


def brought(by: str | None, arrangements: tuple[str, ...], item: str) -> bool:
    """Whether an edge leads to an item from what brings it, or from one of the arrangements."""
    network = mind().graph.nx
    causes = [f"item:{by}", f"arrangement:{by}", *(f"arrangement:{name}" for name in arrangements)]
    return any(network.has_edge(cause, f"item:{item}") for cause in causes)


def test_the_same_words_give_the_same_bytes_in_two_processes(tmp_path: Path) -> None:
    typed = "\n".join((*PIECES, "why?", *["don't know"] * 12, "why?", "so far", "quit", "")).encode()
    one = advisor(tmp_path, "chat", "--json", "--no-log", typed=typed, PYTHONHASHSEED="1")
    other = advisor(tmp_path, "chat", "--json", "--no-log", typed=typed, PYTHONHASHSEED="2")
    assert one.stdout == other.stdout
    kinds = [json.loads(line)["kind"] for line in one.stdout.splitlines()]
    assert "recommendation" in kinds
    assert kinds[-1] == "goodbye"
    assert (one.returncode, one.stderr, other.returncode) == (0, b"", 0)


def test_a_session_survives_its_way_through_the_slots(talk: Talk) -> None:
    talk.say("a pair", "90 minutes", "20 minutes")
    session = from_slots(json.loads(json.dumps(talk.counter._slots)))
    assert session.contradiction is not None
    assert session.contradiction.now == Entry(OneOf(frozenset({"20"})), "20 minutes")
    assert session.sheet.entries["leaves"].possible == OneOf(frozenset({"pair"}))


# Nothing said is lost


def test_what_can_be_read_two_ways_is_named_beside_what_was_understood(talk: Talk) -> None:
    said = talk.say("pr 3070 wd 90 min hosp corr")
    assert "leaf_width_in" not in said["facts"]
    assert "3070 can be read as the width of each leaf" in said["reply"]


def test_a_correcting_number_is_asked_about_while_the_question_takes_no_number(talk: Talk) -> None:
    question = talk.say("pair of 3070s wd 90 min hosp corr")["question"]
    assert mind().graph.kinds[question["fact"]].kind == "yes_no"
    said = talk.say("sorry meant 45")
    assert said["facts"]["fire_rating_minutes"] == 90
    assert "45 can be read as minutes of fire rating" in said["reply"]


def test_a_label_nobody_sees_does_not_make_a_door_unrated(talk: Talk) -> None:
    talk.say("hospital cross corridor pair, wood, smoke, no label i can see")
    assert "fire_rating_minutes" not in talk.turns[-1]["facts"]
