"""What is heard in whole messages, in many voices."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from advisor import yaml_files
from advisor.facts import Between, Heard, OneOf
from advisor.knowledge.load import load_facts
from advisor.listening.hearing import Hearing
from advisor.listening.measures import MeasureReader
from advisor.listening.reading import LONGEST, Listener
from advisor.listening.words import WordTokenizer, distance, plain, split
from advisor.phrasebook.book import Choice
from advisor.phrasebook.load import load_phrasebook
from advisor.yaml_files import data_folder

KINDS = load_facts(data_folder("knowledge_graph"))
BOOK = load_phrasebook([data_folder("dialogues")], KINDS)
LISTENER = Listener(BOOK, KINDS)

UTTERANCES = [
    (voice, entry)
    for voice, entries in yaml_files.read(Path(__file__).with_name("utterances.yaml")).items()
    for entry in entries
]


def shown(heard: Heard) -> str:
    """A heard value as utterances.yaml writes it."""
    if heard.possible is None:
        return "?"
    if isinstance(heard.possible, OneOf):
        text = "|".join(sorted(heard.possible.values))
    elif heard.possible.exact is not None:
        text = str(heard.possible.exact)
    else:
        low, high = heard.possible.at_least, heard.possible.at_most
        text = f"{'' if low is None else low}..{'' if high is None else high}"
    before = "~" if heard.how == "implied" else ""
    return before + text + ("?" if heard.how == "unsure" else "")


def facts_of(hearing: Hearing) -> dict[str, str]:
    """Every fact heard; of several the last, joined where they differ."""
    facts: dict[str, str] = {}
    for heard in hearing.heard:
        name = heard.fact if heard.opening == 1 else f"{heard.opening}:{heard.fact}"
        value = shown(heard)
        facts[name] = value if name not in facts else "|".join(sorted({*facts[name].split("|"), *value.split("|")}))
    return facts


def expected_of(facts: Mapping[str, str]) -> dict[str, str]:
    """The facts of an utterance with broader values spelled out and alternatives in order."""
    expected = {}
    for name, value in facts.items():
        kind = KINDS[name.split(":")[-1]]
        before, after = ("~" if value.startswith("~") else ""), ("?" if value.endswith("?") else "")
        values = value.strip("~?")
        if kind.kind != "quantity" and values:
            values = "|".join(sorted(low for one in values.split("|") for low in kind.finest(one)))
        expected[name] = before + values + after
    return expected


@pytest.mark.parametrize(
    ("voice", "entry"), UTTERANCES, ids=[f"{voice}: {entry['said']}" for voice, entry in UTTERANCES]
)
def test_exactly_these_facts_are_heard(voice: str, entry: yaml_files.Mapping) -> None:
    hearing = LISTENER.hear(entry["said"], entry.get("asked"))
    assert facts_of(hearing) == expected_of(entry["facts"]), entry.place
    if "corrects" in entry:
        assert sorted({heard.fact for heard in hearing.heard if heard.corrects}) == sorted(entry["corrects"])


@pytest.mark.parametrize(
    ("voice", "entry"), UTTERANCES, ids=[f"{voice}: {entry['said']}" for voice, entry in UTTERANCES]
)
def test_what_is_heard_points_at_the_customers_own_words(voice: str, entry: yaml_files.Mapping) -> None:
    hearing = LISTENER.hear(entry["said"], entry.get("asked"))
    spans = [*hearing.heard, *hearing.wants, *hearing.mentions, *hearing.ambiguous]
    assert [entry["said"][span.start : span.end] for span in spans] == [span.text for span in spans]


@pytest.mark.parametrize(
    ("said", "name", "about"),
    [
        ("why the coordinator?", "why", "coordinator"),
        ("why do you ask", "why", None),
        ("why not manual flush bolts", "why_not", "flush_bolt_manual"),
        ("why no latch?", "why_not", "lockset"),
        ("sliding door for the patio", "out_of_scope", "special door"),
        ("why does a 90 minute pair need a coordinator", "why", "coordinator"),
        ("what if it was 60 minutes", "what_if", "fire_rating_minutes"),
        ("can I use manual flush bolts on a 90 minute wood pair", "is_allowed", "flush_bolt_manual"),
        ("what is a coordinator", "look_up", "coordinator"),
        ("start over", "start_over", None),
        ("quit", "quit", None),
        ("what do you have so far", "so_far", None),
        ("help", "help", None),
        ("hello", "greeting", None),
        ("thanks a lot", "thanks", None),
        ("give me the list to order", "order", None),
        ("undo that", "undo", None),
        ("I already told you", "upset", None),
        ("how much does it cost", "out_of_scope", "price"),
        ("the door won't latch", "trouble", "does not latch"),
        ("closer leaks oil", "trouble", "closer leaking"),
        ("wrong door closes first", "trouble", "coordinator fails"),
        ("can we just padlock the exit", "unsafe_wish", "exit locked against leaving"),
        ("can I prop it open with a wedge", "unsafe_wish", "wedge holding fire door"),
        ("take the closer off", "unsafe_wish", "no closer on fire door"),
        ("double cylinder deadbolt on the exit door", "unsafe_wish", "key needed to get out"),
        ("the county jail", "out_of_scope", "detention"),
    ],
)
def test_wants_are_heard_with_what_they_are_about(said: str, name: str, about: str | None) -> None:
    assert (name, about) in [(want.name, want.about) for want in LISTENER.hear(said).wants]


@pytest.mark.parametrize(
    "said", ["exit door, 90 min", "helped my customer", "the back door", "stop the door from banging"]
)
def test_words_inside_a_statement_are_no_commands(said: str) -> None:
    assert {"quit", "help", "undo", "start_over"} & {want.name for want in LISTENER.hear(said).wants} == set()


@pytest.mark.parametrize(
    ("said", "mentions"),
    [
        ("manual flush bolts and a coordinator", [("flush_bolt_manual", False), ("coordinator", False)]),
        ("no coordinator", [("coordinator", True)]),
        ("no coordinator or carry bar", [("coordinator", True), ("carry_bar", True)]),
        ("without an astragal", [("astragal", True)]),
        ("coordinator not needed", [("coordinator", True)]),
        ("kick plates and silencers", [("kick_plate", False), ("silencer", False)]),
        ("a pair of hinges", [("hinge", False)]),
        ("panick hardware with a corner", [("exit_device", False)]),
    ],
)
def test_items_are_heard_with_their_denial(said: str, mentions: list[tuple[str, bool]]) -> None:
    assert [(mention.item, mention.denied) for mention in LISTENER.hear(said).mentions] == mentions


@pytest.mark.parametrize(
    ("said", "text"),
    [("90", "90"), ("2 hour", "2 hour"), ("2 hour fire door", "2 hour"), ("30 min", "30 min"), ("DPS", "DPS"),
     ("3070 pair", "3070"),
     ("PR 3070", "3070"), ("6070 hm", "6070"), ("SC", "SC"), ("two doors", "two doors"), ("72 inch opening",
     "72 inch opening")],
)  # fmt: skip
def test_what_can_mean_several_things_is_asked_not_guessed(said: str, text: str) -> None:
    ambiguous = LISTENER.hear(said).ambiguous
    assert [found.text for found in ambiguous] == [text]
    assert len(ambiguous[0].readings) > 1
    assert set(ambiguous[0].readings) <= set(BOOK.wording)


@pytest.mark.parametrize(
    ("said", "asked", "fact"),
    [
        ("DPS, flush bolts", None, "dust_proof_strike"),
        ("SC wood door", None, "door_material"),
        ("SC finish", None, "finish"),
    ],
)
def test_what_stands_beside_decides(said: str, asked: str | None, fact: str) -> None:
    hearing = LISTENER.hear(said, asked)
    assert hearing.ambiguous == ()
    assert fact in {*(heard.fact for heard in hearing.heard), *(mention.item for mention in hearing.mentions)}


@pytest.mark.parametrize(
    ("said", "left"),
    [
        ("bonjour je cherche une porte", ("bonjour je cherche une porte",)),
        ("wood pair with a flurb", ("flurb",)),
        ("wood, gribble, hm frame, snark", ("gribble", "snark")),
        ("I need the hardware for a wood pair please", ()),
        ("", ()),
        (" \t\n ", ()),
        ("!!! ...", ()),
        ("🚪🔥", ("🚪🔥",)),
    ],
)
def test_what_is_not_understood_is_handed_back(said: str, left: tuple[str, ...]) -> None:
    assert LISTENER.hear(said).not_understood == left


@pytest.mark.parametrize(
    "said",
    ["\x00\x01\x02wood\x7fpair", "wood\r\npair", "\u202ewood pair", "wood " * 10_000 + "pair", "9" * 100_000,
     "-" * 100_000,
     "not " * 20_000, "1/" * 50_000, "((((" * 20_000, "3070 " * 20_000, "\ud83d wood", "a\u0301" * 1000,
     "'" * 5000 + '"' * 5000],
)  # fmt: skip
def test_bad_input_is_heard_without_an_exception(said: str) -> None:
    assert isinstance(LISTENER.hear(said), Hearing)
    assert isinstance(LISTENER.hear(said, "fire_rating_minutes"), Hearing)


def test_a_message_too_long_is_cut_and_the_rest_handed_back() -> None:
    said = "wood door 3070 " + "blah " * 20_000
    hearing = LISTENER.hear(said)
    assert facts_of(hearing)["leaf_width_in"] == "36"
    assert len(hearing.not_understood[-1]) >= len(said) - LONGEST - 10


def test_hearing_twice_is_the_same() -> None:
    said = "pair of 3070s, wood, maybe 90, hospital corridor, no closer, DPS"
    assert LISTENER.hear(said) == LISTENER.hear(said)


def test_how_a_fact_was_said_is_kept() -> None:
    heard = {
        found.fact: found for found in LISTENER.hear("probably 90 minutes, not sprinklered, patient room, wood").heard
    }
    assert heard["fire_rating_minutes"].how == "unsure"
    assert heard["fire_rating_minutes"].possible == OneOf(frozenset({"90"}))
    assert heard["occupancy"].how == "implied"
    assert heard["door_material"].how == "stated"


LABELS = [(fact, choice) for fact, question in BOOK.questions.items() for choice in question.choices]


@pytest.mark.parametrize(("fact", "choice"), LABELS, ids=[f"{fact}: {choice.label}" for fact, choice in LABELS])
def test_every_label_of_a_question_is_heard_as_its_answer(fact: str, choice: Choice) -> None:
    for said in (choice.label, choice.label.partition("(")[0], choice.label.upper(), f"it's {choice.label}, please"):
        hearing = LISTENER.hear(said, fact)
        heard = [(each.possible, each.how) for each in hearing.heard if each.fact == fact]
        assert [possible for possible, _ in heard] == [OneOf(frozenset({choice.value}))], said
        assert heard[0][1] in ("stated", "denied")
        assert hearing.ambiguous == ()


def test_what_is_heard_names_the_entry_it_was_heard_by() -> None:
    heard = LISTENER.hear("hm single, 3070, 90 min").heard
    assert {each.fact: each.term for each in heard} == {
        "door_material": "materials/hollow_metal",
        "leaves": "leaves/single",
        "leaf_height_in": "measures/size",
        "leaf_width_in": "measures/size",
        "fire_rating_minutes": "measures/time",
    }
    (answer,) = LISTENER.hear("offices", "occupancy").heard
    assert answer.term == "occupancy/business"


def test_a_fact_not_known_may_still_be_anything() -> None:
    (heard,) = LISTENER.hear("no idea", "wall_kind").heard
    assert (heard.fact, heard.possible, heard.how) == ("wall_kind", None, "unsure")


def test_lengths_without_unit_are_in_the_unit_in_use() -> None:
    (heard,) = LISTENER.hear("915", "leaf_width_in", "mm").heard
    assert heard.possible == Between(Fraction(915 * 5, 127), Fraction(915 * 5, 127))


READER = MeasureReader(BOOK.measures)


def measured(text: str) -> list[tuple[str, tuple[str, ...]]]:
    words = split(text)
    plains = [plain(word) for _, word in words]
    gaps = [start + len(word) != after for (start, word), (after, _) in pairwise([*words, (len(text), "")])]
    return [(m.kind, tuple(str(v) for v in m.size or m.options)) for m in READER.read(plains, gaps)]


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("3070", ("36", "84")), ("3068", ("36", "80")), ("21070", ("34", "84")), ("30710", ("36", "94")),
        ("2868s", ("32", "80")),
        ("3'-0\" x 7'-0\"", ("36", "84")), ("3/0 x 7/0", ("36", "84")), ("3-0 7-0", ("36", "84")),
        ("36x84", ("36", "84")),
        ("36 by 84", ("36", "84")), ("3 ft by 7 ft", ("36", "84")), ("three oh seven oh", ("36", "84")),
        ("3'0 x 6'8", ("36", "80")),
        ("thirty sixty eight", ("36", "80")), ("36 x 84 x 1 3/4", ("36", "84", "7/4")), ("84x36", ("36", "84")),
        ("2-10 x 7-0", ("34", "84")), ("36\"x84\"", ("36", "84")), ("36w x 84h", ("36", "84")), ("30100", ("36",
        "120")),
    ],
)  # fmt: skip
def test_a_size_is_read_in_every_counter_form(text: str, size: tuple[str, ...]) -> None:
    assert measured(text) == [("size", size)]


@pytest.mark.parametrize("text", ["2018", "1200", "5000", "4-1/2 x 4-1/2", "8 x 34", "1010", "12345", "us26d"])
def test_other_figures_are_no_size(text: str) -> None:
    assert "size" not in [kind for kind, _ in measured(text)]


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("90 min", "90"), ("ninety minute", "90"), ("hour and a half", "90"), ("an hour and a half", "90"),
     ("1-1/2 hr", "90"),
     ("1½ hours", "90"), ("1.5h", "90"), ("one and a half hours", "90"), ("3/4 hr", "45"), ("three quarter hour", "45"),
     ("three quarters of an hour", "45"), ("half an hour", "30"), ("1/3 hour", "20"), ("20min", "20"), ("3h",
     "180"), ("90m", "90"),
     ("an hour", "60"), ("two hour", "120"), ("1 hr 30 min", "90"), ("forty five minutes", "45")],
)  # fmt: skip
def test_a_time_is_read_in_every_counter_form(text: str, minutes: str) -> None:
    assert measured(text) == [("time", (minutes,))]


@pytest.mark.parametrize(
    ("one", "other", "off"),
    [
        ("closer", "clsoer", 1),
        ("hinge", "hindge", 1),
        ("astragal", "astragel", 1),
        ("astragal", "astrigle", 3),
        ("wood", "wood", 0),
    ],
)
def test_a_swap_of_neighbours_is_one_mistake(one: str, other: str, off: int) -> None:
    assert distance(one, other, 2) == off


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("coordinatr", "coordinator"), ("coridor", "corridor"), ("hosptial", "hospital"), ("sprinkelred", "sprinklered"),
     ("stairwel", "stairwell"), ("minuts", "minuts"), ("would", "would"), ("close", "close"), ("world", "world"),
     ("medal", "medal"),
     ("wod", "wod"), ("restaraunt", "restaurant"), ("electrcal", "electrical"), ("aluminm", "aluminum")],
)  # fmt: skip
def test_only_plain_mistakes_are_mended(typed: str, meant: str) -> None:
    doc = LISTENER._pipeline.nlp(typed)
    assert doc[0].norm_ == meant


def test_the_document_is_the_text_as_typed() -> None:
    text = "  3'-0\" x 7'-0\"\twood - door,\nself-closing  "
    assert WordTokenizer(LISTENER._pipeline.nlp.vocab)(text).text == text
