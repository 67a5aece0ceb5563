"""What customers say of people is masked; what they say of doors never is."""

from __future__ import annotations

from pathlib import Path

import pytest
from review_corpus import mind

from advisor.conversation.counter import Counter
from advisor.conversation.privacy import Masked, Masker, masker_of, read_words
from advisor.errors import PhrasebookError
from advisor.knowledge.graph import KnowledgeGraph
from advisor.phrasebook.book import Phrasebook
from advisor.phrasebook.load import load_phrasebook
from advisor.yaml_files import data_folder, read

HERE = Path(__file__).parent
LINES = read(HERE / "personal_lines.yaml")
UTTERANCES = read(HERE / "utterances.yaml")


@pytest.fixture(scope="module")
def book(graph: KnowledgeGraph) -> Phrasebook:
    return load_phrasebook([data_folder("dialogues")], graph.kinds)


@pytest.fixture(scope="module")
def masker(book: Phrasebook) -> Masker:
    return masker_of(book)


def utterances() -> list[str]:
    return [entry["said"] for group in UTTERANCES.values() for entry in group if isinstance(entry.get("said"), str)]


@pytest.mark.parametrize("line", LINES["personal"], ids=lambda line: line["said"])
def test_personal_parts_are_gone_and_the_rest_stays(masker: Masker, line: dict[str, object]) -> None:
    masked = masker.mask(line["said"])
    rest = line["said"]
    for hidden in line["hides"]:
        assert hidden not in masked.text
        assert rest.count(hidden) == 1
        rest = rest.replace(hidden, "\0")
    for kept in rest.split("\0"):
        assert kept.strip(" ,.") in masked.text


def test_there_are_enough_lines_of_either_sort() -> None:
    assert len(LINES["personal"]) >= 100
    assert len(LINES["trade"]) + len(utterances()) >= 200


def test_no_trade_sentence_is_touched(masker: Masker) -> None:
    said = [*LINES["trade"], *utterances()]
    assert [masker.mask(line).text for line in said] == said


def test_no_phrase_of_the_phrasebook_is_touched(book: Phrasebook, masker: Masker) -> None:
    for term in book.terms.values():
        for phrase in (*term.phrases, *term.written, *term.hear, *term.hear_not):
            for said in (phrase, phrase.capitalize(), phrase.title(), f"it's {phrase}"):
                assert masker.mask(said).text == said


def test_masking_a_masked_line_changes_nothing(masker: Masker) -> None:
    for line in LINES["personal"]:
        once = masker.mask(line["said"]).text
        assert masker.mask(once) == Masked(once, ())


def test_places_lead_back_to_the_line_as_typed(masker: Masker) -> None:
    typed = "this is Dana Whitlock, 555-0142, wood door, dana@example.com, pair"
    masked = masker.mask(typed)
    for word in ("this", "wood", "door", "pair"):
        start = masked.text.index(word)
        back = slice(masked.as_typed(start), masked.as_typed(start + len(word)))
        assert typed[back] == word


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("masks:", "mask:", "The key 'mask' is not known here."),
        ('"[name]"', '"NAME"', "The mask 'name' must be small letters in square brackets."),
        ("presenting: [here, speaking]", "presenting: []", "'presenting' is empty."),
        ("titles: {short", "titles: {tall", "The key 'tall' is not known here."),
        ("naming: [", "naming: [[x], ", "'naming' takes text or a list of texts."),
    ],
)
def test_a_wrong_privacy_file_is_refused_with_file_and_line(tmp_path: Path, old: str, new: str, says: str) -> None:
    text = (data_folder("dialogues") / "privacy.yaml").read_text(encoding="utf-8")
    assert text.count(old) == 1
    path = tmp_path / "dialogues" / "privacy.yaml"
    path.parent.mkdir()
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(PhrasebookError) as caught:
        read_words(path)
    assert str(caught.value).startswith("dialogues/privacy.yaml:")
    assert says in str(caught.value)


def test_a_masked_conversation_keeps_nothing_personal_and_hears_the_rest_as_typed(masker: Masker) -> None:
    kept: list[object] = []
    counter = Counter(mind(), kept.append, masker)
    typed = "this is Dana Whitlock at 14 Harrow Lane, 202-555-0142: wood pair, dana@example.com, 90 minutes"
    turn = counter.say(typed)["turn"]
    counter.say("what do you have so far, says Kevin Brightwater")
    counter.close()
    for hidden in ("Dana", "Whitlock", "Harrow", "0142", "example.com", "Kevin", "Brightwater"):
        assert hidden not in repr(kept)
    assert {each["fact"] for each in turn["heard"]} >= {"door_material", "leaves", "fire_rating_minutes"}
    assert [typed[each["start"] : each["end"]] for each in turn["heard"]] == [each["text"] for each in turn["heard"]]
    assert turn["not_understood"] == []


def test_masking_changes_nothing_that_is_heard_of_a_door(masker: Masker) -> None:
    for line in LINES["personal"]:
        answers = []
        for used in (masker, None):
            counter = Counter(mind(), masker=used)
            heard = counter.say(line["said"])["turn"]["heard"]
            counter.close()
            answers.append([(each["fact"], each["value"]) for each in heard if each["how"] != "implied"])
        masked, plain = answers
        # a number or name masked can only take away what was heard in it by mistake
        assert [each for each in masked if each not in plain] == [], line["said"]
