"""Hearing costs no more than an entity recognizer over the same text, and grows with its length and no faster."""

from __future__ import annotations

import time

import spacy
from hearing_score import utterances

from advisor.knowledge.load import load_facts
from advisor.listening.reading import Listener
from advisor.phrasebook.load import load_phrasebook
from advisor.yaml_files import data_folder

KINDS = load_facts(data_folder("knowledge_graph"))
LISTENER = Listener(load_phrasebook([data_folder("dialogues")], KINDS), KINDS)
SAID = [(each.said, each.asked) for each in utterances("tuned_on.yaml", KINDS)]


def spent(hear: object, said: list[tuple[str, str | None]]) -> float:
    """Processor seconds for the messages: the least of three rounds."""
    assert callable(hear)
    rounds = []
    for _ in range(3):
        start = time.process_time()
        for text, asked in said:
            hear(text, asked)
        rounds.append(time.process_time() - start)
    return min(rounds)


def test_hearing_costs_no_more_than_an_untrained_recognizer() -> None:
    nlp = spacy.blank("en")
    recognizer = nlp.add_pipe("ner")
    for label in ("SIZE", "RATING", "ITEM", "ROOM"):
        recognizer.add_label(label)  # type: ignore[attr-defined]
    nlp.initialize()
    ours, theirs = spent(LISTENER.hear, SAID), spent(lambda text, asked: nlp(text), SAID)
    print(f"hearing {1000 * ours / len(SAID):.2f} ms, recognizer {1000 * theirs / len(SAID):.2f} ms a message")
    assert ours <= theirs


def test_words_never_seen_before_cost_little() -> None:
    """Spelling looks for what an unknown word may be meant for; even a message of nothing else stays quick."""
    text = " ".join(f"{a}{b}{c}ndr{c}l" for a in "bcdfghk" for b in "aeiou" for c in "stnrl")
    words = len(text.split())
    start = time.process_time()
    LISTENER.hear(text)
    assert (time.process_time() - start) / words < 0.001


def test_time_grows_with_length_and_no_faster() -> None:
    part = "pair of 3070s, wood, ninety minute, hospital corridor, no closer, not rated, 45 or 60. "
    short, long = part * 5, part * 40
    one, eight = spent(LISTENER.hear, [(short, None)] * 8), spent(LISTENER.hear, [(long, None)])
    assert len(long) < 4000
    assert eight <= 1.8 * one
