"""Numbers, lengths, times, currents and door sizes, found in plain text and read exactly."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from advisor.facts import Between
from advisor.phrasebook.book import Measures

Kind = Literal["number", "length", "time", "amps", "size"]
_Maker = Callable[[re.Match[str]], "Measure | None"]

# A door leaf or opening outside these is no door: the figures are read as something else. Inches.
LOWEST, TALLEST, WIDEST = 60, 144, 144


@dataclass(frozen=True, slots=True)
class Measure:
    """A measure read.

    Attributes:
        kind: what is measured. ``number`` is a figure without a unit.
        start, end: where it stands in the text searched.
        options: the values it may be, several only for "45 or 60"; empty for a range.
        low, high: the ends of a range or comparison; None is open.
        strict: the ends themselves are not meant ("more than 50").
        tight: a number a unit may still be missing from; False where a unit was said.
        size: width, height and perhaps thickness, in inches.
        code: a size said as a code (3070), which for a pair may give the whole opening.
        plural: a code said of several leaves ("3070s").
        in_words: a number said in words.
    """

    kind: Kind
    start: int
    end: int
    options: tuple[Fraction, ...] = ()
    low: Fraction | None = None
    high: Fraction | None = None
    strict: bool = False
    size: tuple[Fraction, ...] = ()
    code: bool = False
    plural: bool = False
    in_words: bool = False

    @property
    def value(self) -> Fraction | None:
        """The one value said, or None."""
        return self.options[0] if len(self.options) == 1 else None

    def between(self, whole: bool) -> Between:
        """The range left. For counted things (whole) a strict bound moves to the next count."""
        if self.options:
            return Between(min(self.options), max(self.options))
        step = Fraction(1 if whole and self.strict else 0)
        low = None if self.low is None else self.low + step
        high = None if self.high is None else self.high - step
        return Between(low, high)

    def holds(self, value: Fraction) -> bool:
        """Whether a value is one of those left."""
        if self.options:
            return value in self.options
        low_ok = self.low is None or value > self.low or (value == self.low and not self.strict)
        high_ok = self.high is None or value < self.high or (value == self.high and not self.strict)
        return low_ok and high_ok


class MeasureReader:
    """Finds measures in a text of plain words in lower case, as the phrasebook's measures say them."""

    def __init__(self, measures: Measures) -> None:
        self.measures = measures
        numbers = measures.numbers
        units = [word for word, value in numbers.items() if 0 < value < 20]
        tens = [word for word, value in numbers.items() if 20 <= value < 100]
        self.units, self.tens = _either(units), _either(tens)
        below = rf"(?:(?:{self.tens})(?: ?(?:{_either([w for w in units if numbers[w] < 10])})\b)?|{self.units}|zero)"
        hundreds = rf"(?:(?:(?:{self.units}|an?|\d) )?hundred(?:(?: and)? {below})?)"
        thousands = rf"(?:(?:(?:{below}|an?|\d+) )?thousand(?:(?: and)? (?:{hundreds}|{below}))?)"
        parts = _either(measures.fractions)
        share = rf"(?:(?:an? |one )?(?:{parts})|(?:{self.units}) (?:{parts}))"
        cardinal = rf"(?:{thousands}|{hundreds}|{below})"
        words = rf"(?:(?:{cardinal}) and {share}|{share}|{cardinal})\b"
        self.number = (
            rf"(?:\d{{1,3}}(?:,\d{{3}})+|\d+ ?- ?\d+/[1-9]\d*|\d+ {{1,2}}\d+/[1-9]\d*|\d+/[1-9]\d*|\d*\.\d+"
            rf"|\d+ and {share}\b|\d+|{words})"
        )
        self.length_unit = _either(measures.lengths)
        self.time_unit = _either(word for word in measures.times if len(word) > 1)
        self.patterns = list(self._patterns())

    def read(self, text: str) -> list[Measure]:
        """The measures in the text, by place, none overlapping another."""
        taken = bytearray(len(text))
        found: list[Measure] = []
        for pattern, make in self.patterns:
            for match in pattern.finditer(text):
                start, end = match.span("all")
                if start == end or any(taken[start:end]):
                    continue
                measure = make(match)
                if measure is not None:
                    taken[start:end] = b"\1" * (end - start)
                    found.append(measure)
        return sorted(found, key=lambda measure: measure.start)

    def _patterns(self) -> Iterator[tuple[re.Pattern[str], _Maker]]:
        number, length, time = self.number, self.length_unit, self.time_unit
        inch = _either(word for word, size in self.measures.lengths.items() if size == 1)
        feet = _either(word for word, size in self.measures.lengths.items() if size == 12)
        # Not a number's beginning or end: inside a word, a date, a longer figure.
        head, tail = r"(?:(?<![\w.,/'\"-])|(?<=\bpr)|(?<=\dx)|(?<=['\"]x)|(?<=[\s(]-))", r"(?![\w/])"
        inches = rf"(?:1[01]|\d)(?:[ -]+\d/\d+|\.\d+)?(?!\d)(?! ?(?:{feet}|{time}|x|h)(?!\w))"
        word_inches = _either(w for w, v in self.measures.numbers.items() if 0 < v < 12)
        foot_inch = (
            rf"{number} ?(?:{feet})\.?(?:[ -]*(?:and )?(?:{inches}|(?:{word_inches})\b(?! (?:{feet}|{time})))"
            rf" ?(?:(?:{inch})(?!\w)\.?)?)?"
        )
        dashed = r"(?:1[0-2]|[1-9])(?:-|/)(?:1[01]|\d)(?![\d/])"
        side = rf"(?:{foot_inch}|{dashed}|{number}(?: ?(?:{length})(?!\w)\.?)?)"
        by = r" ?(?:x|by) ?"
        third = rf"(?:{by}(?P<t>{number}(?: ?(?:{inch})(?!\w)\.?)?))?"
        yield self._compile(rf"{head}(?P<all>(?P<w>{side}){by}(?P<h>{side}){third})(?!\w)"), self._sides
        yield self._compile(rf"{head}(?P<all>(?P<w>{dashed})(?: |, ?)(?P<h>{dashed})){tail}"), self._sides
        yield self._compile(rf"{head}(?P<all>(?P<w>{foot_inch}) (?P<h>{foot_inch}))(?!\w)"), self._sides
        yield self._compile(rf"{head}(?P<all>(?P<c>\d{{4,6}})(?P<s>'?s)?){tail}(?! ?(?:{length}|amps?)(?!\w))"), self._code
        few = _either(w for w, v in self.measures.numbers.items() if 0 < v < 12)
        oh = "oh|o|zero|ought"
        foot_words = rf"(?:{few}) (?:{oh}|{few})"
        spoken = rf"{head}(?P<all>(?P<w>{foot_words})(?: by| x|,)? (?P<h>{foot_words}s?)){tail}"
        yield self._compile(spoken), self._spoken
        ten = rf"(?:{self.tens})(?: (?:{few})| oh)?"
        tens_s = rf"(?:{self.tens})(?: (?:eight|two|four|six)s?| oh)?|seventies|eighties|nineties"
        yield self._compile(rf"{head}(?P<all>(?P<w>{ten}) (?P<h>{tens_s})){tail}"), self._tens

        more = _either(self.measures.before)
        after = _either(self.measures.after)
        before = rf"(?:(?P<b>{more}) ?)?"
        behind = rf"(?:(?: ?(?P<e>{after}))(?!\w))?"
        pair = rf"(?P<n>{number})(?: ?(?P<j>or|to|and|-|/) ?(?P<m>{number}))?"
        hour = _either(word for word, size in self.measures.times.items() if size == 60 and len(word) > 1)
        half_hours = (
            rf"(?:(?P<n>{number}|an?) )?(?P<u>{hour})s? and (?:an? |one )?(?P<f>half|quarter)"
            rf"|(?P<f2>half|quarter|three quarters?|{number})(?: of)? an? (?P<u2>{hour})"
            rf"|half (?P<u3>{hour})"
        )
        yield self._compile(rf"(?<![\w.])(?P<all>{before}(?:{half_hours}))(?!\w)"), self._half_hour
        yield self._compile(rf"{head}(?P<all>(?P<n>\d) ?h(?:rs?|ours?)? ?(?P<m>30)(?: ?(?:{time}))?){tail}"), self._hours_thirty
        yield self._compile(rf"{head}(?P<all>{before}{pair} ?(?P<u>{time})(?!\w)\.?{behind})"), self._time
        yield self._compile(rf"{head}(?P<all>(?P<n>20|45|60|90|180)m|(?P<n2>\d(?:\.\d+)?|\d-?\d?/?\d?)h)(?!\w)"), self._tight_time
        yield self._compile(rf"{head}(?P<all>{before}an (?P<u>{hour}))(?!\w)"), self._one_hour
        yield self._compile(rf"{head}(?P<all>{before}{pair} ?(?:{_either(self.measures.amps)})(?!\w)){behind}"), self._amps
        yield self._compile(rf"{head}(?P<all>(?P<x>{foot_inch}))(?!\w)"), self._feet
        inch_first = rf"(?:an |one )?(?P<u>inch) and (?P<n>{number})"
        yield self._compile(rf"{head}(?P<all>{inch_first}){tail}"), self._inch_and
        yield self._compile(rf"{head}(?P<all>{before}{pair} ?(?P<u>{length})(?!\w)\.?{behind})"), self._length
        yield self._compile(rf"{head}(?P<all>(?P<x>{dashed})){tail}"), self._dashed
        yield self._compile(rf"{head}(?P<all>(?P<x>(?:{few}) (?:oh|o|zero))){tail}"), self._dashed
        yield self._compile(rf"{head}(?P<all>{before}(?:between )?{pair}(?!\w){behind})(?!/)"), self._number

    @staticmethod
    def _compile(pattern: str) -> re.Pattern[str]:
        return re.compile(pattern)

    # Reading what was found.

    def parse(self, text: str) -> Fraction | None:
        """The value of one number as said; None where the words are no number."""
        text = text.strip().replace(",", "")
        mixed = re.fullmatch(r"(\d+)(?: ?- ?| {1,2})(\d+/\d+)", text)
        if mixed:
            return Fraction(mixed[1]) + Fraction(mixed[2])
        if re.fullmatch(r"\d+/\d+|\d*\.\d+|\d+", text):
            return Fraction(text)
        total = current = Fraction(0)
        numbers, fractions = self.measures.numbers, self.measures.fractions
        for word in re.findall(r"\d+|[a-z]+", text):
            if word in ("a", "an", "and"):
                continue
            if word in fractions:
                whole = current if text.count(" and ") and " and " in text.split(word)[0] else Fraction(0)
                share = fractions[word] * (1 if whole or not current else current)
                current = whole + share if whole else share
                if whole and re.search(rf" and (\w+) {word}", text):
                    times = numbers.get(re.search(rf" and (\w+) {word}", text)[1], Fraction(1))  # type: ignore[index]
                    current = whole - (times if times != 1 else 0) + fractions[word] * times
                continue
            value = Fraction(word) if word.isdigit() else numbers.get(word)
            if value is None:
                return None
            if value == 100:
                current = (current or Fraction(1)) * 100
            elif value == 1000:
                total, current = total + (current or Fraction(1)) * 1000, Fraction(0)
            else:
                current += value
        return total + current

    def _compared(self, match: re.Match[str], kind: Kind, size: Fraction, low_text: str, high_text: str | None) -> Measure | None:
        groups = match.groupdict()
        one = self.parse(low_text)
        two = self.parse(high_text) if high_text else None
        start, end = match.span("all")
        if one is None or (high_text and two is None):
            return None
        before = self.measures.before.get(groups.get("b") or "")
        after = self.measures.after.get(groups.get("e") or "")
        in_words = not any(sign.isdigit() for sign in low_text)
        one *= size
        if two is not None:
            two *= size
            if groups.get("j") == "or" or (groups.get("j") == "/" and kind != "number"):
                return Measure(kind, start, end, options=(one, two), in_words=in_words)
            return Measure(kind, start, end, low=min(one, two), high=max(one, two), in_words=in_words)
        how = before or after
        if how in ("at_least", "more_than"):
            return Measure(kind, start, end, low=one, strict=how == "more_than", in_words=in_words)
        if how in ("at_most", "less_than"):
            return Measure(kind, start, end, high=one, strict=how == "less_than", in_words=in_words)
        if how == "about" and kind == "number" and one >= 10:
            reach = one * self.measures.about_share
            low, high = Fraction(-(-(one - reach) // 1)), Fraction((one + reach) // 1)
            return Measure(kind, start, end, low=low, high=high, in_words=in_words)
        return Measure(kind, start, end, options=(one,), in_words=in_words)

    def _time(self, match: re.Match[str]) -> Measure | None:
        n, m, size = match["n"], match["m"], self.measures.times[match["u"]]
        one = self.parse(n)
        if m and match["j"] in ("and", "-", "/", "to", "or"):
            two = self.parse(m)
            if one is None or two is None:
                return None
            if match["j"] == "and" and not (match["b"] or "between " in match.string[: match.start("n")][-8:]):
                return None
            if match["j"] in ("-", "/") and size == 1 and one < 10:
                return None
            if one >= 10 and two < 10 and size == 60:
                return self._options(match, (one, two * size))
        return self._compared(match, "time", size, n, m)

    def _options(self, match: re.Match[str], options: tuple[Fraction, ...]) -> Measure:
        return Measure("time", *match.span("all"), options=options)

    def _half_hour(self, match: re.Match[str]) -> Measure | None:
        groups = match.groupdict()
        if groups["u"]:
            n = groups["n"]
            whole = Fraction(1) if n in (None, "a", "an") else self.parse(n or "")
            if whole is None:
                return None
            minutes = (whole + self.measures.fractions[groups["f"]]) * 60
        else:
            share = self.parse(groups["f2"] or "half")
            if share is None:
                return None
            minutes = share * 60
        before = self.measures.before.get(groups.get("b") or "")
        span = match.span("all")
        if before in ("at_least", "more_than"):
            return Measure("time", *span, low=minutes, strict=before == "more_than")
        if before in ("at_most", "less_than"):
            return Measure("time", *span, high=minutes, strict=before == "less_than")
        return Measure("time", *span, options=(minutes,))

    def _hours_thirty(self, match: re.Match[str]) -> Measure | None:
        return self._options(match, (Fraction(match["n"]) * 60 + Fraction(match["m"]),))

    def _tight_time(self, match: re.Match[str]) -> Measure | None:
        if match["n"]:
            return self._options(match, (Fraction(match["n"]),))
        hours = self.parse(match["n2"])
        return None if hours is None else self._options(match, (hours * 60,))

    def _one_hour(self, match: re.Match[str]) -> Measure | None:
        return self._compared(match, "time", self.measures.times[match["u"]], "1", None)

    def _amps(self, match: re.Match[str]) -> Measure | None:
        value = self.parse(match["n"])
        if value is None or value < 10:
            return None
        return self._compared(match, "amps", Fraction(1), match["n"], match["m"] if match["j"] != "and" else None)

    def _feet(self, match: re.Match[str]) -> Measure | None:
        value = self._side(match["x"])
        return None if value is None else Measure("length", *match.span("all"), options=(value[0],))

    def _dashed(self, match: re.Match[str]) -> Measure | None:
        value = self._side(match["x"])
        text = match["x"]
        if value is None or ("/" in text and not text.endswith("/0")) or value[0] % 2 or value[0] < 12:
            return None
        return Measure("length", *match.span("all"), options=(value[0],))

    def _inch_and(self, match: re.Match[str]) -> Measure | None:
        value = self.parse(match["n"])
        return None if value is None or value >= 1 else Measure("length", *match.span("all"), options=(1 + value,))

    def _length(self, match: re.Match[str]) -> Measure | None:
        unit = match["u"]
        if match["m"] and match["j"] in ("and", "/"):
            return None
        if unit == "in" and re.match(r" (?:a|an|the|my|our|this|that)\b", match.string[match.end("u") :]):
            return None
        if unit == "m" and match.string[match.end("n") : match.start("u")] == "" and "." not in match["n"]:
            return None
        return self._compared(match, "length", self.measures.lengths[unit], match["n"], match["m"])

    def _number(self, match: re.Match[str]) -> Measure | None:
        n, m, joined = match["n"], match["m"], match["j"]
        between = "between " in match["all"]
        if m and ((joined == "and" and not between) or joined == "/"):
            return None
        if between and joined != "and":
            return None
        return self._compared(match, "number", Fraction(1), n, m)

    def _side(self, text: str) -> tuple[Fraction, Fraction | None] | None:
        """A side's inches and the size of its unit; the unit is None for a bare number."""
        text = text.strip().rstrip(".")
        spoken = re.fullmatch(r"([a-z]+) ([a-z]+)s?", text)
        if spoken and spoken[1] in self.measures.numbers and spoken[2] in ("oh", "o", "zero", "ought"):
            return self.measures.numbers[spoken[1]] * 12, Fraction(12)
        dashed = re.fullmatch(r"(\d{1,2})[-/](\d{1,2})", text)
        if dashed and int(dashed[1]) <= 12 and int(dashed[2]) <= 11:
            return Fraction(int(dashed[1]) * 12 + int(dashed[2])), Fraction(12)
        for word, size in sorted(self.measures.lengths.items(), key=lambda item: (item[1] != 12, -len(item[0]))):
            if size == 12:
                at = re.match(rf"(.*?) ?{re.escape(word)}(?![a-z])\.?(.*)$", text)
                if at:
                    feet = self.parse(at[1])
                    rest = at[2].strip(" -")
                    rest = re.sub(r"(?:inches|inch|in|\"|'')\.?$", "", rest).removeprefix("and ").strip()
                    inches = self.parse(rest) if rest else Fraction(0)
                    return None if feet is None or inches is None else (feet * 12 + inches, Fraction(12))
            elif text.endswith(word):
                value = self.parse(text[: -len(word)].strip(" -"))
                return None if value is None else (value * size, size)
        value = self.parse(text)
        return None if value is None else (value, None)

    def _sides(self, match: re.Match[str]) -> Measure | None:
        wide, high = self._side(match["w"]), self._side(match["h"])
        if wide is None or high is None:
            return None
        (width, width_unit), (height, height_unit) = wide, high
        if width_unit is None and height_unit is None:
            unit = _unit_of(width, height)
            if unit is None:
                return None
            width, height = width * unit, height * unit
        elif width_unit is None and height_unit is not None:
            width *= Fraction(12) if height_unit == 12 and width < 12 else (height_unit if height_unit != 12 else 1)
        elif height_unit is None and width_unit is not None:
            height *= Fraction(12) if width_unit == 12 and height < 13 else (width_unit if width_unit != 12 else 1)
        if height < LOWEST and 78 <= width <= TALLEST:
            width, height = height, width
        size: tuple[Fraction, ...] = (width, height)
        groups = match.groupdict()
        if groups.get("t"):
            third = self._side(groups["t"] or "")
            if third is not None and third[0] <= 4:
                size += (third[0],)
        return _size(match, size, code=False, plural=False)

    def _code(self, match: re.Match[str]) -> Measure | None:
        sizes = sorted(set(_code_sizes(match["c"])))
        return _size(match, sizes[0], code=True, plural=bool(match["s"])) if len(sizes) == 1 else None

    def _spoken(self, match: re.Match[str]) -> Measure | None:
        sides = []
        for text in (match["w"], match["h"].removesuffix("s") if match["h"].endswith("ohs") else match["h"]):
            feet, inches = text.split()[:2]
            sides.append(self.measures.numbers[feet] * 12 + self.measures.numbers.get(inches, Fraction(0)))
        return _size(match, (sides[0], sides[1]), code=True, plural=match["h"].endswith("s"))

    def _tens(self, match: re.Match[str]) -> Measure | None:
        digits = ""
        for text in (match["w"], match["h"]):
            words = [_singular(word) for word in text.split()]
            value = sum((self.measures.numbers.get(word, Fraction(0)) for word in words), Fraction(0))
            digits += str(value)
        sizes = sorted(set(_code_sizes(digits)))
        usual = all(digit in "02468" for digit in (digits[1], digits[3]))
        return _size(match, sizes[0], code=True, plural=match["h"].endswith("s")) if len(sizes) == 1 and usual else None





def _either(words: Iterable[str]) -> str:
    return "|".join(re.escape(word) for word in sorted(set(words), key=lambda word: (-len(word), word)))


def _singular(word: str) -> str:
    return word[:-3] + "y" if word.endswith("ies") else word.removesuffix("s") if word != "six" else word


def _unit_of(width: Fraction, height: Fraction) -> Fraction | None:
    if width <= 12 and 5 <= height <= 12:
        return Fraction(12)
    if 12 <= width <= WIDEST and 12 <= height <= TALLEST:
        return Fraction(1)
    if width >= 300 and height >= 300:
        return Fraction(5, 127)
    return Fraction(50, 127) if 40 <= width and height > TALLEST else None


def _size(match: re.Match[str], size: tuple[Fraction, ...], code: bool, plural: bool) -> Measure | None:
    if not (10 <= size[0] <= WIDEST and LOWEST <= size[1] <= TALLEST):
        return None
    return Measure("size", *match.span("all"), size=size, code=code, plural=plural)


def _code_sizes(digits: str) -> Iterator[tuple[Fraction, ...]]:
    """Every way a code can be feet and inches of width, then of height, that is a door."""
    for cut in range(1, len(digits)):
        for width in _feet_inches(digits[:cut]):
            for height in _feet_inches(digits[cut:]):
                if 12 <= width <= WIDEST and 72 <= height <= TALLEST:
                    yield (Fraction(width), Fraction(height))


def _feet_inches(digits: str) -> Iterator[int]:
    for cut in range(1, len(digits)):
        feet, inches = digits[:cut], digits[cut:]
        if feet[0] != "0" and int(feet) <= 12 and (len(inches) == 1 or inches in ("10", "11")):
            yield int(feet) * 12 + int(inches)
