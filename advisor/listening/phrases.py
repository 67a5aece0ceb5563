"""Phrases found in a document: the longest wins, and what stands beside it decides between meanings."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

from advisor.listening.measures import Measure
from advisor.phrasebook.book import Slot, Term

# Marks whose words are too ordinary for a misspelt word to be taken for one of them.
_NEVER_MEANT = frozenset({"known", "asking", "asking_first", "next_opening"})

_STOPS = frozenset(",.;!?")

# Words either side that can decide what a phrase means.
BESIDE = 6

_SLOTS = {
    "number": ("{number}", "{inches}", "{minutes}"),
    "length": ("{length}", "{inches}"),
    "time": ("{time}", "{minutes}"),
    "amps": ("{amps}",),
    "size": ("{size}",),
}


@dataclass(frozen=True, slots=True)
class Match:
    """A phrase found: its words (the last excluded), what it can mean, and the measures in its slots."""

    start: int
    end: int
    terms: tuple[Term, ...]
    measures: tuple[Measure, ...] = ()


@dataclass(slots=True)
class _Node:
    next: dict[str, _Node] = field(default_factory=dict)
    terms: list[Term] = field(default_factory=list)


class PhraseFinder:
    """Every term's phrases in one tree of words.

    Args:
        terms: the phrasebook's terms.
        labels: more terms, of whose words none is taken for a misspelt one.
        cut: cuts a phrase into words as customers' text is cut: the words in lower case, and as written.
        fits: whether measures may stand in a term's slots.

    Attributes:
        words: every word of a phrase.
        mendable: the words a misspelt word may be taken for, each with the names of the terms it is a word of.
    """

    def __init__(
        self,
        terms: Iterable[Term],
        labels: Iterable[Term],
        cut: Callable[[str], tuple[list[str], list[str]]],
        fits: Callable[[Term, Match], bool],
    ) -> None:
        self.fits = fits
        self.tree, self.capitals = _Node(), _Node()
        self.words: set[str] = set()
        self.mendable: dict[str, set[str]] = {}
        cut = cache(cut)
        labels = tuple(labels)
        labelled = {term.name for term in labels}
        for term in (*terms, *labels):
            for phrase in term.phrases:
                words = _phrase_words(phrase, cut)
                self.words.update(words)
                if term.marks not in _NEVER_MEANT and term.name not in labelled:
                    for word in words:
                        self.mendable.setdefault(word, set()).add(term.name)
                self._add(self.tree, words, term)
                last = words[-1]
                if (term.says or term.mentions) and len(last) > 3 and last.isalpha() and last[-1] not in "shxy":
                    self._add(self.tree, [*words[:-1], last + "s"], term)
                    if term.name in labelled:
                        continue
                    self.mendable.setdefault(last + "s", set()).add(term.name)
            for phrase in term.written:
                self._add(self.capitals, cut(phrase)[1], term)

    @staticmethod
    def _add(node: _Node, words: Sequence[str], term: Term) -> None:
        for word in words:
            node = node.next.setdefault(word, _Node())
        if term not in node.terms:
            node.terms.append(term)

    def find(
        self,
        words: Sequence[str],
        written: Sequence[str],
        measures: Sequence[Measure],
        lists: Mapping[str, frozenset[str]],
        asked: str | None,
    ) -> list[Match]:
        """The phrases among the words, by place, none overlapping another.

        Args:
            words: the words in lower case, misspellings mended.
            written: the words as typed; abbreviations in capitals are looked for only in text that has small letters.
            measures: the measures among the words; one stands for a slot.
            lists: the phrasebook's word lists.
            asked: the fact just asked about; without one, phrases that only answer a question mean nothing.
        """
        spoken = {at for at, word in enumerate(words) if any(sign.isalnum() for sign in word)}
        said = {at for at in spoken if words[at] not in lists["filler"]}
        by_start = {measure.start: measure for measure in measures}
        found: list[Match] = []
        mixed = len(words) == 1 or any(word.islower() and len(word) > 1 for word in written)
        for at in range(len(words)):
            self._walk(self.tree, words, by_start, at, at, (), found)
            if mixed and written[at][:1].isupper():
                self._walk(self.capitals, written, {}, at, at, (), found)
        clauses = _clauses(words)
        found = [
            match
            for match in (_meant(match, words, said, spoken, clauses, asked, lists) for match in found)
            if match.terms
        ]
        found.extend(Match(measure.start, measure.end, (), (measure,)) for measure in measures)
        found.sort(key=_rank)
        taken = bytearray(len(words))
        chosen: dict[tuple[int, int], Match] = {}
        for match in found:
            span = (match.start, match.end)
            if span in chosen:
                if match.terms and len(match.measures) == len(chosen[span].measures):
                    chosen[span] = _joined(chosen[span], match)
            elif not any(taken[match.start : match.end]) or _shares(match, taken, words, lists):
                taken[match.start : match.end] = b"\1" * (match.end - match.start)
                chosen[span] = match
        return [chosen[span] for span in sorted(chosen)]

    def _walk(
        self,
        node: _Node,
        words: Sequence[str],
        by_start: dict[int, Measure],
        start: int,
        at: int,
        used: tuple[Measure, ...],
        found: list[Match],
    ) -> None:
        if node.terms:
            match = Match(start, at, tuple(node.terms), used)
            if used:
                match = replace(match, terms=tuple(term for term in node.terms if self.fits(term, match)))
            if match.terms:
                found.append(match)
        if at >= len(words):
            return
        following = node.next.get(words[at])
        if following is not None:
            self._walk(following, words, by_start, start, at + 1, used, found)
        elif words[at] == "." and at > start and node.next:
            self._walk(_Node(node.next), words, by_start, start, at + 1, used, found)
        measure = by_start.get(at)
        if measure is not None:
            for slot in _SLOTS[measure.kind]:
                following = node.next.get(slot)
                if following is not None:
                    self._walk(following, words, by_start, start, measure.end, (*used, measure), found)


def _clauses(words: Sequence[str]) -> list[int]:
    """For each word, where the stretch between two signs of punctuation it stands in begins."""
    begins, start = [], 0
    for at, word in enumerate(words):
        begins.append(start)
        if word in _STOPS:
            start = at + 1
    return begins


def _meant(
    match: Match,
    words: Sequence[str],
    said: set[int],
    spoken: set[int],
    clauses: Sequence[int],
    asked: str | None,
    lists: Mapping[str, frozenset[str]],
) -> Match:
    """The match without the meanings a phrase has only elsewhere: as the whole message, as an answer, before a word.

    A phrase of filler words only is the whole message where there is no other word at all, and the answer where the
    others are words any answer may have around it.
    """
    if not any(term.whole or term.answer or term.before for term in match.terms):
        return match
    inside = set(range(match.start, match.end))
    whole = inside.issuperset(said if inside & said else spoken)
    polite = lists["polite"] | lists["around"]
    if any(term.wants for term in match.terms) and not inside & said:
        whole = whole or all(words[at] in polite for at in spoken - inside)
    if any(not (term.whole or term.answer) and (term.says or term.mentions) for term in match.terms):
        # "exit" alone ends the talk; "it's an exit" speaks of the door.
        whole = whole and all(at in inside or words[at] in lists["polite"] for at in spoken)
    answers = False
    if asked and not whole:
        clause = {at for at in spoken if clauses[at] == clauses[match.start]}
        rest = clause - inside
        answers = not rest & said if inside & said else all(words[at] in polite for at in rest)
    following = words[match.end] if match.end < len(words) else ""
    terms = tuple(
        term
        for term in match.terms
        if (whole or not term.whole)
        and (not term.answer or (asked in term.says and (whole or answers)))
        and (not term.before or following in term.before)
    )
    return replace(match, terms=terms)


def _shares(match: Match, taken: bytearray, words: Sequence[str], lists: Mapping[str, frozenset[str]]) -> bool:
    """Whether all but the last word of a phrase is free, and that names a door or wall: "hm door", "door is 90 min"."""
    last = match.end - 1
    common = lists["door"] | lists["wall"]
    return match.end - match.start > 1 and not any(taken[match.start : last]) and words[last] in common


def _rank(match: Match) -> tuple[int, bool, bool, bool, int]:
    """The longest first; then phrases before bare measures, plain words before slots, meanings before marks."""
    marks = all(term.marks for term in match.terms)
    return -(match.end - match.start), not match.terms, bool(match.measures), marks, match.start


def _joined(one: Match, other: Match) -> Match:
    more = tuple(term for term in other.terms if term not in one.terms)
    return Match(one.start, one.end, one.terms + more, one.measures or other.measures)


def _phrase_words(phrase: str, cut: Callable[[str], tuple[list[str], list[str]]]) -> list[str]:
    words: list[str] = []
    for part in phrase.replace("{", " {").replace("}", "} ").split():
        words.extend([part] if part.startswith("{") else cut(part)[0])
    return words


def meaning(match: Match, words: Sequence[str], asked: str | None) -> tuple[Term, ...]:
    """What a phrase means where it stands: one term, none, or several that only the customer can tell apart.

    Args:
        match: the phrase.
        words: the words of the message.
        asked: the fact just asked about.
    """
    terms = list(match.terms)
    if any(term.marks != "known" and (not term.beside or term.reads_as) for term in terms):
        terms = [term for term in terms if term.marks != "known" or term.reads_as]
    if asked and len(terms) > 1:
        answering = [term for term in terms if asked in term.says or term.names == asked]
        if answering:
            return (answering[0],)
    near = {*words[max(0, match.start - BESIDE) : match.start], *words[match.end : match.end + BESIDE]}
    beside = [term for term in terms if term.beside and term.beside & near]
    plain = [term for term in terms if not term.beside]
    if any(term.whole for term in plain):
        plain = [term for term in plain if term.whole]
    kept = beside or plain
    if not kept:
        kept = [term for term in terms if term.reads_as]
        return tuple(kept) if len(kept) > 1 else ()
    if len(kept) > 1 and all(term.reads_as for term in kept):
        return tuple(kept)
    return (kept[0],)


def slot_measure(slot: Slot, match: Match) -> Measure | None:
    """The measure standing in a slot of the phrase."""
    for measure in match.measures:
        if f"{{{slot.name}}}" in _SLOTS[measure.kind]:
            return measure
    return None
