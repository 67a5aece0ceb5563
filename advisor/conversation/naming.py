"""What a question names: finish codes, numbers of functions and types, hands, words of the trade."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from advisor.knowledge.lookups import HardwareType, Lookups

Kind = Literal["finish", "function", "hand", "term", "type"]
CODES: tuple[Kind, ...] = ("finish", "function", "hand", "type")
LONGEST = 7
MOST_NEAR = 5


@dataclass(frozen=True, slots=True)
class Named:
    """Something named: the words from start to end (excluded), and the entries of one kind they can mean."""

    kind: Kind
    names: tuple[str, ...]
    start: int
    end: int
    code: bool


def parts_of(text: str) -> list[str]:
    """A text's words and numbers in small letters, signs left out.

    >>> parts_of("What's US-26D?")
    ['what', 's', 'us', '26d']
    """
    return written_parts(text.lower())


def written_parts(text: str) -> list[str]:
    """A text's words and numbers as they are written, signs left out."""
    return re.findall(r"[A-Za-z0-9_]+", text)


def singular(word: str) -> str:
    """A word without the s of the plural."""
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word


class Names:
    """Finds what is named, the longest first.

    Args:
        lookups: everything that can be named.
        function_words: words that make a name such as "storeroom" the name of a lock function.
    """

    def __init__(self, lookups: Lookups, function_words: Sequence[str]) -> None:
        self.lookups = lookups
        self.codes: dict[str, tuple[Kind, tuple[str, ...]]] = {}
        self.shapes: list[tuple[re.Pattern[str], str]] = []
        self.phrases: dict[tuple[str, ...], tuple[Kind, tuple[str, ...]]] = {}
        self.bare: dict[tuple[str, ...], tuple[Kind, tuple[str, ...]]] = {}
        self.function_words = frozenset(map(singular, function_words))
        self._codes()
        self._phrases()

    def _codes(self) -> None:
        found: dict[str, dict[Kind, list[str]]] = {}

        def add(code: str, kind: Kind, name: str) -> None:
            names = found.setdefault(_joined(code), {}).setdefault(kind, [])
            if name not in names:
                names.append(name)

        for code, finish in self.lookups.finishes.items():
            add(code, "finish", code)
            if finish.us:
                add(finish.us, "finish", code)
                short = finish.us.removeprefix("US")
                if len(short) > 1 and not short.isdigit():
                    add(short, "finish", code)
        for name, function in self.lookups.functions.items():
            if function.lock == "exit_device" and function.number:
                for before in ("function", "trim", "device"):
                    add(f"{before} {function.number}", "function", name)
            if function.number and (not function.number.isdigit() or function.number.startswith("0")):
                add(function.number, "function", name)
        for name, hand in self.lookups.hands.items():
            add(hand.written, "hand", name)
        for name, entry in self.lookups.types.items():
            for code in _numbers(entry):
                if "_" in code:
                    self.shapes.append((re.compile(_shape(_joined(code))), name))
                else:
                    add(code, "type", name)
        for code, kinds in found.items():
            first = next(kind for kind in CODES if kind in kinds)
            self.codes[code] = (first, tuple(kinds[first]))

    def _phrases(self) -> None:
        groups: dict[str, list[str]] = {}
        for name, function in self.lookups.functions.items():
            if function.same_as:
                groups.setdefault(function.same_as, []).append(name)
        for same_as, names in groups.items():
            self.bare[tuple(same_as.split("_"))] = ("function", tuple(names))
        looks: dict[tuple[str, ...], list[str]] = {}
        for code, finish in self.lookups.finishes.items():
            if ":" in finish.look:
                looks.setdefault(_key(finish.look.split(":")[0]), []).append(code)
        self.phrases |= {key: ("finish", tuple(codes)) for key, codes in looks.items()}
        for name, entry in self.lookups.types.items():
            self.phrases[_key(re.split(r"[,:(]", entry.called)[0])] = ("type", (name,))
        for name, term in self.lookups.terms.items():
            for called in (*term.called, name.replace("_", " ")):
                self.phrases[_key(called)] = ("term", (name,))
        for name, hand in self.lookups.hands.items():
            self.phrases[_key(hand.called)] = ("hand", (name,))

    def find(self, words: Sequence[str]) -> list[Named]:
        """Everything the words name, by place, none overlapping another."""
        functions = bool(self.function_words & set(map(singular, words)))
        found: list[Named] = []
        at = 0
        while at < len(words):
            named = next(self._at(words, at, functions), None)
            if named:
                found.append(named)
            at = named.end if named else at + 1
        found = [*found, *self._shortened(words, found)]
        return sorted(found, key=lambda named: named.start)

    def _shortened(self, words: Sequence[str], found: Sequence[Named]) -> Iterator[Named]:
        """Names that share their end with a later one: the "automatic" of "automatic or manual flush bolts"."""
        taken = {at for named in found for at in range(named.start, named.end)}
        for at, word in enumerate(words):
            later = [named for named in found if named.kind == "term" and at < named.start <= at + 3]
            if at in taken or not later:
                continue
            window = tuple(map(singular, words[later[0].start : later[0].end]))
            for tail in (window[cut:] for cut in range(1, len(window))):
                if (word, *tail) in self.phrases:
                    yield Named(*self.phrases[word, *tail], at, at + 1, False)
                    break

    def _at(self, words: Sequence[str], at: int, functions: bool) -> Iterator[Named]:
        for end in range(min(len(words), at + LONGEST), at, -1):
            window = words[at:end]
            key = tuple(map(singular, window))
            if functions and key in self.bare:
                yield Named(*self.bare[key], at, self._tail(words, end), False)
            if key in self.phrases:
                yield Named(*self.phrases[key], at, end, False)
            if end - at <= 3:
                code = "".join(window)
                if code in self.codes:
                    yield Named(*self.codes[code], at, end, True)
                shaped = tuple(
                    name for shape, name in self.shapes if shape.fullmatch(code) and any(map(str.isdigit, code))
                )
                if shaped:
                    yield Named("type", shaped, at, end, True)

    def _tail(self, words: Sequence[str], end: int) -> int:
        while end < len(words) and singular(words[end]) in self.function_words:
            end += 1
        return end

    def near(self, words: Sequence[str]) -> list[str]:
        """Codes and words that look like the ones given, the nearest first, as they are written."""
        written = self._written()
        tries = [*words, "".join(words), " ".join(map(singular, words))]
        found = [near for word in tries for near in difflib.get_close_matches(word, written, n=3, cutoff=0.65)]
        alike = [code for code in sorted(written) for word in words if len(word) > 2 and code[:2] == word[:2]]
        return list(dict.fromkeys(written[near] for near in (found or alike)))[:MOST_NEAR]

    def _written(self) -> Mapping[str, str]:
        written = {" ".join(key): " ".join(key) for key in sorted(self.phrases)}
        lookups = self.lookups
        codes = [
            *lookups.finishes,
            *(finish.us for finish in lookups.finishes.values()),
            *(function.number for function in lookups.functions.values() if not function.number.isdigit()),
            *(code for entry in lookups.types.values() for code in _numbers(entry) if "_" not in code),
            *(hand.written for hand in lookups.hands.values()),
        ]
        return written | {_joined(code): code for code in codes if code}


def _joined(code: str) -> str:
    return "".join(parts_of(code))


def _shape(code: str) -> str:
    """The pattern of a number with open places; open places at the end of a long number may be left out."""
    known = code.rstrip("_")
    if len(known) >= 4 and "_" not in known:
        return f"{known}[a-z0-9]{{0,{len(code) - len(known)}}}"
    return code.replace("_", "[a-z0-9]")


def _key(phrase: str) -> tuple[str, ...]:
    return tuple(map(singular, parts_of(phrase)))


def _numbers(entry: HardwareType) -> Iterator[str]:
    """A type's numbers: those parted by a slash, and those its grade names for single metals."""
    yield from (code.strip() for code in entry.number.split(" / ") if code.strip())
    yield from re.findall(r"\b[A-Z]\d{5}\b", entry.grade)
    if not entry.number and not re.search(r"[A-Za-z] numbers are built", entry.called):
        yield entry.standard.removeprefix("ANSI/BHMA ").removeprefix("ANSI/SDI ")
