"""What customers say of people, masked: names, telephone numbers, e-mail and street addresses.

A line is masked before it is heard, so that nothing that is kept of the conversation can hold what was masked.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from advisor.errors import PhrasebookError
from advisor.phrasebook.book import Phrasebook
from advisor.yaml_files import Mapping, check_keys, data_folder, read, texts

KINDS = ("name", "phone", "email", "address")
_LISTS = (
    "naming",
    "introducing",
    "presenting",
    "given",
    "given_and_word",
    "never",
    "addressing",
    "within",
    "phoning",
    "extension",
    "range_beside",
    "domains",
)
_WORD = re.compile(r"[^\W\d_]+(?:['’.-][^\W\d_]+)*")


@dataclass(frozen=True, slots=True)
class Mask:
    """A stretch of the line as typed, end excluded, and what stands in its place."""

    start: int
    end: int
    shown: str


@dataclass(frozen=True, slots=True)
class Masked:
    """A line with its personal parts masked."""

    text: str
    masks: tuple[Mask, ...]

    def as_typed(self, at: int) -> int:
        """Where a place in the masked line lies in the line as typed; inside a mask, where the masked part begins."""
        shift = 0
        for mask in self.masks:
            shown = mask.start - shift
            if at <= shown:
                break
            if at < shown + len(mask.shown):
                return mask.start
            shift = mask.end - shown - len(mask.shown)
        return at + shift

    def heard_as_typed(self, heard: dict[str, Any]) -> dict[str, Any]:
        """Something heard in the masked line, with its place in the line as typed."""
        return {**heard, "start": self.as_typed(heard["start"]), "end": self.as_typed(heard["end"])}


@dataclass(frozen=True, slots=True)
class Words:
    """The word lists of privacy.yaml."""

    masks: dict[str, str]
    lists: dict[str, tuple[str, ...]]
    titles: tuple[tuple[str, ...], tuple[str, ...]]
    streets: tuple[tuple[str, ...], tuple[str, ...]]


def read_words(path: Path) -> Words:
    """The word lists a privacy file holds.

    Raises:
        PhrasebookError: a key is missing, not known, or holds something other than texts.
    """
    data = read(path, f"{path.parent.name}/{path.name}", PhrasebookError)
    check_keys(data, ("masks", "titles", "streets", *_LISTS), (), PhrasebookError)
    masks = _part(data, "masks", KINDS)
    for kind, shown in masks.items():
        if not isinstance(shown, str) or not re.fullmatch(r"\[[a-z ]+\]", shown):
            raise PhrasebookError(data.at("masks"), f"The mask {kind!r} must be small letters in square brackets.")
    titles, streets = _part(data, "titles", ("short", "exact")), _part(data, "streets", ("plain", "also_words"))
    lists = {key: _entries(data, key) for key in _LISTS}
    return Words(
        masks=dict(masks),
        lists={key: tuple(word for text in found for word in text.split()) if key in _FOLDED else found
               for key, found in lists.items()},
        titles=(_entries(titles, "short"), _entries(titles, "exact")),
        streets=(_entries(streets, "plain"), _entries(streets, "also_words")),
    )  # fmt: skip


_FOLDED = ("given", "given_and_word", "never")


def _part(data: Mapping, key: str, keys: Iterable[str]) -> Mapping:
    part = data[key]
    if not isinstance(part, Mapping):
        raise PhrasebookError(data.at(key), f"{key!r} must be a mapping.", keys)
    check_keys(part, keys, (), PhrasebookError)
    return part


def _entries(data: Mapping, key: str) -> tuple[str, ...]:
    found = texts(data, key, PhrasebookError)
    if not found:
        raise PhrasebookError(data.at(key), f"{key!r} is empty.")
    return found


class Masker:
    """Masks what lines say of people.

    Args:
        words: the word lists.
        trade: words that are never a name unless a title stands before them, in small letters.
    """

    def __init__(self, words: Words, trade: Iterable[str]) -> None:
        lists = words.lists
        self._shown = words.masks
        self._given, self._both = frozenset(lists["given"]), frozenset(lists["given_and_word"])
        titles = {title.lower() for title in (*words.titles[0], *words.titles[1])}
        self._stops = frozenset(lists["never"])
        self._never = self._stops | titles | (frozenset(trade) - self._given)
        self._plain_streets = frozenset(words.streets[0])
        self._presenting = frozenset(lists["presenting"])
        self._ranges = frozenset(lists["range_beside"])
        any_of, short, exact = _any_of, *words.titles
        self._naming = re.compile(rf"(?<!\w)(?:{any_of(lists['naming'])})\s+", re.I)
        self._introducing = re.compile(rf"(?<!\w)(?:{any_of(lists['introducing'])})[\s,:.!-]+", re.I)
        self._title = re.compile(rf"(?<![\w-])(?:(?i:{any_of(short)})|{any_of(exact)})(?:\.\s*|\s+)")
        tight, loose = any_of(words.streets[0]), any_of((*words.streets[0], *words.streets[1]))
        inside = rf"(?:,?\s+(?i:{any_of(lists['within'])})[.\s#]*\w+)?"
        number = r"(?<![\w./'\"-])\d{1,5}[A-Za-z]?(?:-\d{1,4})?\s+"
        words_between = r"((?:(?:[NSEW]\.?|[A-Z][\w.'’-]*|\d{1,3}(?:st|nd|rd|th))\s+){1,4})"
        self._street = re.compile(rf"{number}{words_between}({_capital(loose)})(?!\w)\.?{inside}")
        lead = rf"(?<!\w)(?:{any_of(lists['addressing'])})[\s:]+"
        self._small_street = re.compile(
            rf"{lead}(\d{{1,5}}[a-z]?\s+((?:\w+\s+){{1,3}})(?:{tight})(?!\w)\.?{inside})", re.I
        )
        extra = rf"(?:,?\s*(?:{any_of(lists['extension'])})\.?\s*\d{{1,5}}(?!\w))?"
        self._phone = re.compile(
            rf"(?<![\w.#/-])(?:\+?1[-. ]?)?(?:\(\d{{3}}\)\s*|\d{{3}}[-. ])\d{{3}}[-. ]\d{{4}}(?![\w/'\"-]){extra}"
            rf"|(?<!\w)\+\d{{1,3}}(?:[ .-]?\d{{2,4}}){{2,5}}(?![\w/'\"]){extra}"
            rf"|(?<![\w.])\d{{10}}(?![\w.'\"])",
            re.I,
        )  # fmt: skip
        self._short_phone = re.compile(rf"(?<![\w.#/-])\d{{3}}[-.]\d{{4}}(?![\w/'\"-]|\.\d){extra}", re.I)
        self._called = re.compile(
            rf"(?<!\w)(?:{any_of(lists['phoning'])})(?:\s+(?:is|at|on|me|us))*[\s:#]+"
            rf"((?:\d[-. ]?){{6,10}}\d(?![\w/'\"]){extra})",
            re.I,
        )
        domains = any_of(lists["domains"])
        # begins only where a word begins, so that a very long word is looked through once
        self._email = re.compile(
            rf"(?<![\w.+-])(?:[\w.+-]+@[\w-]+(?:\.[\w-]+)+|[\w.+-]+\s+at\s+[\w-]+\s+dot\s+(?:{domains})(?!\w))", re.I
        )

    def mask(self, text: str) -> Masked:
        """A line with its personal parts masked; a masked line stays as it is."""
        found: list[Mask] = []
        for start, end, kind in sorted(self._found(text), key=lambda one: (one[0], -one[1])):
            if not found or start >= found[-1].end:
                found.append(Mask(start, end, self._shown[kind]))
        parts, at = [], 0
        for mask in found:
            parts += [text[at : mask.start], mask.shown]
            at = mask.end
        return Masked("".join([*parts, text[at:]]), tuple(found))

    def _found(self, text: str) -> Iterator[tuple[int, int, str]]:
        yield from ((*match.span(), "email") for match in self._email.finditer(text))
        yield from ((*match.span(), "phone") for match in self._phone.finditer(text))
        yield from ((*match.span(1), "phone") for match in self._called.finditer(text))
        for match in self._short_phone.finditer(text):
            if not self._is_range(text, match):
                yield (*match.span(), "phone")
        for match in self._street.finditer(text):
            between, street = match.group(1).lower().split(), match.group(2).lower()
            if not self._stops & set(between) and (street in self._plain_streets or not self._never >= set(between)):
                yield (*match.span(), "address")
        for match in self._small_street.finditer(text):
            between = match.group(2).lower().split()
            if not self._stops & set(between) and not self._never >= set(between):
                yield (*match.span(1), "address")
        yield from ((start, end, "name") for start, end in self._names(text))

    def _is_range(self, text: str, match: re.Match[str]) -> bool:
        """Whether two numbers with a dash between are "from … to …": round, or beside a word for what is counted."""
        beside = [*text[: match.start()].lower().split()[-2:], *text[match.end() :].lower().split()[:2]]
        return match.group().endswith("00") or any(word.strip(".,;:") in self._ranges for word in beside)

    def _names(self, text: str) -> Iterator[tuple[int, int]]:
        for match in self._naming.finditer(text):
            yield from self._run(text, match.end(), self._named)
        for match in self._title.finditer(text):
            yield from self._run(text, match.end(), self._titled)
        for match in self._introducing.finditer(text):
            yield from self._run(text, match.end(), self._introduced)
        for match in _WORD.finditer(text):
            word = match.group()
            bare = word.lower().removesuffix("'s").removesuffix("’s")
            if bare in self._given and (word[0].isupper() or self._presents(text, match.end())):
                yield from self._run(text, match.start(), self._introduced)
            elif bare in self._both and word[0].isupper():
                for start, end in self._run(text, match.start(), self._introduced):
                    if " " in text[start:end]:
                        yield start, end

    def _presents(self, text: str, at: int) -> bool:
        after = _WORD.match(text, at + 1)
        return bool(after and after.group().lower() in self._presenting)

    def _introduced(self, word: str, first: bool) -> bool:
        small = word.lower().removesuffix("'s").removesuffix("’s")
        if first and small in self._given:
            return not word.isupper() or len(word) > 3
        return _capitalized(word) and (small not in self._never or (first and small in self._both))

    def _named(self, word: str, first: bool) -> bool:
        return word.lower() not in self._never or (first and _capitalized(word))

    def _titled(self, word: str, first: bool) -> bool:
        small = word.lower()
        if first:
            return _capitalized(word) or small not in self._never
        return word[0].isupper() and small not in self._never

    def _run(self, text: str, at: int, fits: Any) -> Iterator[tuple[int, int]]:
        """The stretch of up to three words from a place on that fit."""
        start = end = at
        for number in range(3):
            word = _WORD.match(text, end if number == 0 else end + 1)
            if not word or (number and not text[end : end + 1].isspace()) or not fits(word.group(), number == 0):
                break
            if word.group().endswith(("'s", "’s")):
                end = word.end() - 2
                break
            end = word.end()
        if end > start:
            yield start, end


def _capitalized(word: str) -> bool:
    """Whether a word begins with a capital and does not go on in capitals, as abbreviations do."""
    return word[0].isupper() and (len(word) == 1 or not word.isupper())


def _any_of(words: Iterable[str]) -> str:
    """Any of these, the longest first, however many spaces lie between their words."""
    return "|".join(
        r"\s+".join(map(re.escape, word.split())) for word in sorted(words, key=lambda word: (-len(word), word))
    )


def _capital(pattern: str) -> str:
    """Each of the words with a capital letter or in capitals."""
    return "|".join(f"{word.capitalize()}|{word.upper()}" for word in pattern.split("|"))


def trade_words(book: Phrasebook) -> frozenset[str]:
    """Every word the phrasebook knows, in small letters."""
    phrases = [phrase for term in book.terms.values() for phrase in (*term.phrases, *term.written)]
    labels = [choice.label for question in book.questions.values() for choice in question.choices]
    measures = book.measures
    units = [*measures.numbers, *measures.fractions, *measures.lengths, *measures.times, *measures.amps]
    words = {word.lower() for phrase in (*phrases, *labels, *units) for word in _WORD.findall(phrase)}
    return frozenset(words | book.words["filler"])


def masker_of(book: Phrasebook) -> Masker:
    """The masker with the built-in word lists, to which the phrasebook's words are words of the trade.

    Raises:
        PhrasebookError: privacy.yaml is wrong.
    """
    return Masker(read_words(data_folder("dialogues") / "privacy.yaml"), trade_words(book))
