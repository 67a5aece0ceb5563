"""Text cut into words: what counts as one word at a counter, and which misspelt words are known words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from spacy.tokens import Doc
from spacy.vocab import Vocab

_WORD = re.compile(
    r"(?:[^\W\d_]\.){2,}"  # N.I.C., H.M.
    r"|[aefhimrsAEFHIMRS]-?[1-5](?!\w|[./,'\"-]\d|['\"/])|[kK]-12\b"  # occupancy groups: A-3, I2, K-12
    r"|[^\W\d_]+(?:['\u2019\u02bc][^\W\d_]+)*"
    r"|\d+"
    r"|[^\s\x00-\x1f\x7f-\x9f]"
)
_GAP = re.compile(r"[\s\x00-\x1f\x7f-\x9f]")
_PLAIN = str.maketrans(
    {
        "\u2019": "'", "\u2018": "'", "\u02bc": "'", "\u2032": "'", "\u201c": '"', "\u201d": '"', "\u2033": '"',
        "\u00d7": "x", "\u2013": "-", "\u2014": "-", "\u2212": "-", "\u2044": "/", "\u2215": "/",
        "\u00bd": " 1/2", "\u00bc": " 1/4", "\u00be": " 3/4", "\u215b": " 1/8", "\u215c": " 3/8", "\u215d": " 5/8",
        "\u215e": " 7/8", "\u2153": " 1/3", "\u2154": " 2/3",
    }
)  # fmt: skip


class WordTokenizer:
    """A spaCy tokenizer for counter language.

    Each token's text runs to the next token, so that the document's text is the text as typed; its norm is the plain
    word in lower case. A hyphen beside a letter separates words and belongs to neither.
    """

    def __init__(self, vocab: Vocab) -> None:
        self.vocab = vocab

    def __call__(self, text: str) -> Doc:
        """The text cut into words."""
        kept = split(text)
        if not kept:
            return Doc(self.vocab)
        ends = [start for start, _ in kept[1:]] + [len(text)]
        begins = [0, *ends[:-1]]
        doc = Doc(self.vocab, words=[text[b:e] for b, e in zip(begins, ends, strict=True)], spaces=[False] * len(kept))
        for token, (_, word) in zip(doc, kept, strict=True):
            token.norm_ = token.lemma_ = plain(word)
        return doc


def split(text: str) -> list[tuple[int, str]]:
    """The words of a text as written, each with its place."""
    found = [(match.start(), match.group()) for match in _WORD.finditer(text)]
    return [
        (start, word)
        for place, (start, word) in enumerate(found)
        if not (word in "-\u2013\u2014" and _joins_words(found, place, start))
    ]


def plain(word: str) -> str:
    """A word in lower case, with plain quotes and figures, and without the periods of an abbreviation."""
    word = word.lower().translate(_PLAIN)
    return word.replace(".", "") if len(word) > 3 else word


def _joins_words(found: list[tuple[int, str]], place: int, start: int) -> bool:
    if not 0 < place < len(found) - 1:
        return False
    before, before_word = found[place - 1]
    after, after_word = found[place + 1]
    tight = before + len(before_word) == start and after == start + 1
    return tight and (before_word[-1].isalpha() or after_word[0].isalpha())


def trimmed(text: str, start: int, end: int) -> tuple[int, int]:
    """The part of a stretch that is words: without gaps and joining hyphens at either end."""
    while end > start and (_GAP.match(text[end - 1]) or text[end - 1] in "-\u2013\u2014"):
        end -= 1
    while start < end and _GAP.match(text[start]):
        start += 1
    return start, end


class Spelling:
    """Known words by what they may be misspelt as.

    A word of 5 letters or more may be off by one letter added, dropped, changed or swapped with its neighbour; one of
    9 or more by two. Ordinary English words are never taken for another word, and a word that could be two different
    known words is left as it is.
    """

    def __init__(self, known: Mapping[str, frozenset[str]], english: Iterable[str]) -> None:
        self.known = {word: names for word, names in known.items() if word.isalpha()}
        self.safe = frozenset(self.known) | frozenset(english)
        self.shaped: dict[tuple[str, int], list[tuple[str, int]]] = {}
        for word in sorted(self.known):
            if len(word) >= 4:
                self.shaped.setdefault((word[0], len(word)), []).append((word, _letters(word)))
        self.found: dict[str, str] = {}

    def __call__(self, word: str) -> str:
        """The known word meant, or the word itself."""
        if len(word) < 5 or word in self.safe or not word.isalpha() or len(word) > 30:
            return word
        if word not in self.found:
            if len(self.found) > 10_000:
                self.found.clear()
            self.found[word] = self._nearest(word)
        return self.found[word]

    def _nearest(self, word: str) -> str:
        letters = _letters(word)
        near: dict[str, int] = {}
        for known, known_letters, allowed in self._shaped_like(word):
            if (letters ^ known_letters).bit_count() > 2 * allowed:
                continue
            if known[0] != word[0] and known[:2] != word[1] + word[0]:
                continue
            if len(known) == 4 and len(word) == 5 and not _doubled(word, known):
                continue
            off = distance(word, known, allowed)
            if off <= allowed:
                near[known] = off
        if not near or (len({_stem(known) for known in near}) > 1 and not self._alike(near)):
            return word
        plural = word.endswith("s")
        return min(near, key=lambda known: (near[known], known.endswith("s") != plural, known))

    def _shaped_like(self, word: str) -> Iterator[tuple[str, int, int]]:
        """The known words shaped as one a word may be meant for, with their letters and how far off it may be."""
        for initial in sorted({word[0], word[1]}):
            for length in range(len(word) - 2, len(word) + 3):
                allowed = 2 if min(len(word), length) >= 9 else 1
                if abs(length - len(word)) <= allowed:
                    for known, letters in self.shaped.get((initial, length), ()):
                        yield known, letters, allowed

    def _alike(self, words: Iterable[str]) -> bool:
        """Whether some term has all the words, so that taking one for another does no harm."""
        return bool(frozenset.intersection(*(self.known[word] for word in words)))


def _letters(word: str) -> int:
    mask = 0
    for letter in word:
        mask |= 1 << (ord(letter) % 64)
    return mask


def _stem(word: str) -> str:
    return word[:-1] if word.endswith("s") and len(word) > 4 else word


def _doubled(word: str, known: str) -> bool:
    return any(word[:at] + word[at + 1 :] == known and word[at] == word[at - 1] for at in range(1, len(word)))


def distance(one: str, other: str, most: int) -> int:
    """Letters to add, drop, change or swap with a neighbour to get from one word to the other; most + 1 if more.

    >>> distance("astragle", "astragal", 2), distance("clsoer", "closer", 1), distance("wood", "metal", 2)
    (2, 1, 3)
    """
    # What both begin and end with costs nothing; most words that are far apart are told by what remains.
    while one and other and one[0] == other[0]:
        one, other = one[1:], other[1:]
    while one and other and one[-1] == other[-1]:
        one, other = one[:-1], other[:-1]
    if not one or not other:
        return min(max(len(one), len(other)), most + 1)
    if most == 1 and max(len(one), len(other)) > 2:
        return 2
    before_last: list[int] = []
    last = list(range(len(other) + 1))
    for row, letter in enumerate(one, start=1):
        line = [row]
        for column, against in enumerate(other, start=1):
            cost = min(last[column] + 1, line[-1] + 1, last[column - 1] + (letter != against))
            if row > 1 and column > 1 and letter == other[column - 2] and one[row - 2] == against:
                cost = min(cost, before_last[column - 2] + 1)
            line.append(cost)
        if min(line) > most:
            return most + 1
        before_last, last = last, line
    return min(last[-1], most + 1)
