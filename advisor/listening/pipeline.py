"""The spaCy pipeline: a blank English one with small components, and what is read off its documents."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import spacy
from spacy.language import Language
from spacy.tokens import Doc, Span
from spacy.util import registry

from advisor.facts import FactKind
from advisor.listening.facts_heard import Reader
from advisor.listening.hearing import Hearing
from advisor.listening.measures import MeasureReader
from advisor.listening.phrases import Match, PhraseFinder, slot_measure
from advisor.listening.sentence import Sentence
from advisor.listening.values import possible_of
from advisor.listening.words import Spelling, WordTokenizer, plain, split, trimmed
from advisor.phrasebook.book import Phrasebook, Slot, Term

_SURROGATE = re.compile("[\ud800-\udfff]")


class CounterTokenizer(WordTokenizer):
    """The word tokenizer with everything the components after it look things up in."""

    def fill(self, book: Phrasebook, kinds: Mapping[str, FactKind]) -> None:
        """Take in a phrasebook and the facts it speaks of."""
        self.book, self.kinds = book, kinds
        self.measures = MeasureReader(book.measures)
        self.phrases = PhraseFinder(book.terms.values(), book.labels, self.cut, self.fits)
        measures = book.measures
        units = {*measures.numbers, *measures.fractions, *measures.lengths, *measures.times, *measures.amps}
        compared = {word for phrase in (*measures.before, *measures.after) for word in phrase.split()}
        listed = set().union(*book.words.values())
        ordinary = book.words["filler"] | book.words["english"]
        mendable = {word: frozenset(names) for word, names in self.phrases.mendable.items() if word not in ordinary}
        mendable |= {word: frozenset({f"unit {word}"}) for word in units if word not in mendable}
        self.spelling = Spelling(mendable, {*listed, *compared, *self.phrases.words, *units})

    def fits(self, term: Term, match: Match) -> bool:
        """Whether the measures in a phrase's slots can be of the facts it says."""
        for fact, said in term.says.items():
            measure = slot_measure(said, match) if isinstance(said, Slot) else None
            if isinstance(said, Slot) and (
                measure is None
                or (measure.in_words and measure.value == 1 and self.kinds[fact].unit == "in")  # "the active one"
                or possible_of(measure, self.kinds[fact], said.bound, None, self.book.measures.lengths) is None
            ):
                return False
        return True

    def cut(self, phrase: str) -> tuple[list[str], list[str]]:
        """A phrase's words in lower case, short ones in full, and as written."""
        words = [word for _, word in split(phrase)]
        return [self.in_full(plain(word)) for word in words], words

    def in_full(self, word: str) -> str:
        """The word a short one stands for, or the word itself."""
        return self.book.short.get(word, word)


def _lookups(nlp: Language) -> CounterTokenizer:
    assert isinstance(nlp.tokenizer, CounterTokenizer)
    return nlp.tokenizer


@registry.tokenizers("counter_words.v1")  # type: ignore[untyped-decorator]
def make_tokenizer() -> Any:
    """The tokenizer by the name spaCy's settings use."""
    return lambda nlp: CounterTokenizer(nlp.vocab)


@Language.factory("counter_spelling")
def make_spelling(nlp: Language, name: str) -> Any:
    """Sets the norm of misspelt and short words to the known word meant."""

    def spelling(doc: Doc) -> Doc:
        tokenizer = _lookups(nlp)
        for token in doc:
            mended = tokenizer.in_full(tokenizer.spelling(token.norm_))
            if mended != token.norm_:
                token.norm_ = mended
        return doc

    return spelling


@Language.factory("counter_measures")
def make_measures(nlp: Language, name: str) -> Any:
    """Puts the document's measures in ``doc.user_data["measures"]`` and ``doc.spans["measures"]``."""

    def measures(doc: Doc) -> Doc:
        words = [token.norm_ for token in doc]
        # The first word's text holds what stands before it, too.
        texts = [token.text if token.i else token.text.lstrip() for token in doc]
        gaps = [len(text) != len(token.lemma_) for text, token in zip(texts, doc, strict=True)]
        found = _lookups(nlp).measures.read(words, gaps)
        doc.user_data["measures"] = found
        doc.spans["measures"] = [Span(doc, one.start, one.end, label=one.kind) for one in found]
        return doc

    return measures


@Language.factory("counter_phrases")
def make_phrases(nlp: Language, name: str) -> Any:
    """Puts the phrases found in ``doc.user_data["phrases"]`` and, named by their terms, in ``doc.spans["phrases"]``."""

    def phrases(doc: Doc) -> Doc:
        words = [token.norm_ for token in doc]
        text = doc.text
        written = [text[slice(*trimmed(text, token.idx, token.idx + len(token)))] for token in doc]
        tokenizer = _lookups(nlp)
        lists, asked = tokenizer.book.words, doc.user_data.get("asked")
        found = tokenizer.phrases.find(words, written, doc.user_data["measures"], lists, asked)
        doc.user_data["phrases"] = found
        doc.spans["phrases"] = [
            Span(doc, one.start, one.end, label=" ".join(term.name for term in one.terms)) for one in found if one.terms
        ]
        return doc

    return phrases


class Pipeline:
    """The blank English pipeline with a phrasebook in it."""

    def __init__(self, book: Phrasebook, kinds: Mapping[str, FactKind]) -> None:
        self.nlp = spacy.blank("en", config={"nlp": {"tokenizer": {"@tokenizers": "counter_words.v1"}}})
        _lookups(self.nlp).fill(book, kinds)
        for component in ("counter_spelling", "counter_measures", "counter_phrases"):
            self.nlp.add_pipe(component)
        self.book = book
        self.reader = Reader(book, kinds)

    def _yes_no(self, asked: str | None) -> bool:
        kind = self.reader.kinds.get(asked or "")
        return kind is not None and kind.kind == "yes_no"

    def hear(self, text: str, asked: str | None, units: str | None) -> Hearing:
        """What a message no longer than the longest heard says."""
        # Half a surrogate pair is no text; it is kept in place as an unknown sign.
        text = _SURROGATE.sub("\ufffd", text)
        doc = self.nlp.make_doc(text)
        doc.user_data["asked"] = asked
        doc = self.nlp(doc)
        starts = [token.idx for token in doc]
        breaks = [False] * (len(starts) + 1)
        for place in range(1, len(starts)):
            breaks[place] = "\n" in text[starts[place - 1] : starts[place]]
        words = [token.norm_ for token in doc]
        sentence = Sentence(
            words, breaks, doc.user_data.get("phrases", []), self.book.words, asked, self._yes_no(asked)
        )
        places = [trimmed(text, token.idx, token.idx + len(token)) for token in doc]
        return self.reader.read(sentence, text, places, asked, units)
