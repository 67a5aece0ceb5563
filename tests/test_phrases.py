"""Every term's own sentences: those it must be heard in, and those it must not."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.errors import PhrasebookError
from advisor.facts import OneOf
from advisor.knowledge.load import load_facts
from advisor.listening.hearing import Hearing
from advisor.listening.reading import Listener
from advisor.phrasebook.book import Slot, Term
from advisor.phrasebook.load import load_phrasebook
from advisor.yaml_files import data_folder

KINDS = load_facts(data_folder("knowledge_graph"))
BOOK = load_phrasebook([data_folder("dialogues")], KINDS)
LISTENER = Listener(BOOK, KINDS)

HEAR = [(term, sentence) for term in BOOK.terms.values() for sentence in term.hear]
NOT = [(term, sentence) for term in BOOK.terms.values() for sentence in term.hear_not]


def asked_of(term: Term) -> str | None:
    """The question a term that only answers one is the answer to."""
    return next(iter(term.says)) if term.answer else None


def is_heard(term: Term, hearing: Hearing) -> bool:
    """Whether what the term means was heard; of a term that says something, that it was said."""
    for fact, said in term.says.items():
        for heard in hearing.heard:
            if heard.fact == fact and heard.how != "implied" and (isinstance(said, Slot) or heard.possible == said):
                return True
    if term.says:
        return bool(term.wants) and any(want.name == term.wants for want in hearing.wants)
    if term.marks == "unsure" and term.names:
        return any(heard.fact == term.names and heard.possible is None for heard in hearing.heard)
    if term.mentions and any(mention.item == term.mentions and not mention.denied for mention in hearing.mentions):
        return True
    return any(want.name == term.wants and (term.about is None or want.about == term.about) for want in hearing.wants)


@pytest.mark.parametrize(("term", "sentence"), HEAR, ids=[f"{term.name}: {text}" for term, text in HEAR])
def test_a_term_is_heard_in_its_sentences(term: Term, sentence: str) -> None:
    assert is_heard(term, LISTENER.hear(sentence, asked_of(term))), term.place


@pytest.mark.parametrize(("term", "sentence"), NOT, ids=[f"{term.name}: {text}" for term, text in NOT])
def test_a_term_is_not_heard_in_others_sentences(term: Term, sentence: str) -> None:
    assert not is_heard(term, LISTENER.hear(sentence, asked_of(term))), term.place


@pytest.mark.parametrize("term", BOOK.terms.values(), ids=BOOK.terms)
def test_a_phrase_alone_is_understood(term: Term) -> None:
    for phrase in term.phrases:
        if "{" not in phrase and not term.beside:
            assert LISTENER.hear(phrase, asked_of(term)).not_understood == (), phrase


@pytest.mark.parametrize(
    "term", [term for term in BOOK.terms.values() if term.says or term.wants], ids=lambda t: t.name
)
def test_a_plain_phrase_alone_is_heard_as_its_term(term: Term) -> None:
    for phrase in term.phrases:
        whole = any(
            (other.whole or other.answer) and phrase in other.phrases
            for other in BOOK.terms.values()
            if other is not term
        )
        if "{" in phrase or term.beside or whole:
            continue
        hearing = LISTENER.hear(phrase, asked_of(term))
        assert is_heard(term, hearing) or hearing.ambiguous, phrase


@pytest.mark.parametrize("fact", KINDS)
def test_every_choice_of_a_fact_can_be_said(fact: str) -> None:
    kind = KINDS[fact]
    if kind.kind == "quantity":
        said = [term for term in BOOK.terms.values() if isinstance(term.says.get(fact), Slot)]
        assert said != []
        return
    sayable: set[str] = set()
    for term in BOOK.terms.values():
        possible = term.says.get(fact)
        sayable |= possible.values if isinstance(possible, OneOf) else set(kind.choices) if possible else set()
    answered = {choice.value for choice in BOOK.questions[fact].choices}
    assert set(kind.choices) - sayable - (answered if kind.kind == "yes_no" else set()) == set()


@pytest.mark.parametrize("short", ["{rm: the room}", "{xrm: rm}", "[rm]", "{rm: [room]}"])
def test_a_short_word_stands_for_one_word_in_full(short: str, tmp_path: Path) -> None:
    (tmp_path / "words.yaml").write_text(f"short: {short}\n", encoding="utf-8")
    with pytest.raises(PhrasebookError, match=r"words\.yaml:1"):
        load_phrasebook([data_folder("dialogues"), tmp_path], KINDS)
