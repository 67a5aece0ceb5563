"""Numbers, lengths, times, currents and door sizes, found in plain text and read exactly."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
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
        start, end: the words it takes, the last excluded.
        options: the values it may be, several only for "45 or 60"; empty for a range.
        low, high: the ends of a range or comparison; None is open.
        strict: the ends themselves are not meant ("more than 50").
        size: width, height and perhaps thickness, in inches.
        code: a size said as a code (3070), which for a pair may give the whole opening.
        plural: a code said of several leaves ("3070s").
        in_words: a number said in words.
        about: a range said as one number ("about 60").
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
    about: bool = False

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
    """Finds measures among plain words in lower case, as the phrasebook's measures say them."""

    def __init__(self, measures: Measures) -> None:
        self.measures = measures
        self.number = r"(?:\d{1,3}(?:,\d{3})+|\d+ ?- ?\d+/[1-9]\d*|\d+ {1,2}\d+/[1-9]\d*|\d+/[1-9]\d*|\d*\.\d+|\d+)"
        self.patterns = [(re.compile(pattern), make) for pattern, make in self._patterns()]

    def read(self, words: Sequence[str], gaps: Sequence[bool]) -> list[Measure]:
        """The measures among the words, by place, none overlapping another.

        Args:
            words: the words.
            gaps: for each word, whether something stands between it and the next.
        """
        text = ""
        starts: dict[int, int] = {}
        ends: dict[int, int] = {}
        spelled: set[int] = set()
        for first, last, figure in self._figures(words):
            if text and (gaps[first - 1] or figure.startswith(" ")):
                text += " "
            figure = figure.strip()
            starts[len(text)] = first
            spelled.update(range(first, last) if figure != words[first].strip() else ())
            text += figure
            ends[len(text)] = last
        taken = bytearray(len(text))
        found: list[Measure] = []
        for pattern, make in self.patterns:
            for match in pattern.finditer(text):
                start, end = match.span("all")
                while end > start and text[end - 1] == " ":
                    end -= 1
                if start == end or any(taken[start:end]) or start not in starts or end not in ends:
                    continue
                measure = make(match)
                if measure is not None:
                    taken[start:end] = b"\1" * (end - start)
                    first, last = starts[start], ends[end]
                    found.append(replace(measure, start=first, end=last, in_words=first in spelled))
        return sorted(found, key=lambda measure: measure.start)

    def _figures(self, words: Sequence[str]) -> Iterator[tuple[int, int, str]]:
        """The words with every number said in words as a figure: first word, last word excluded, text."""
        at = 0
        while at < len(words):
            last, figure = self._figure(words, at)
            yield at, last, figure
            at = last

    def _figure(self, words: Sequence[str], at: int) -> tuple[int, str]:
        """Where the number beginning at a word ends, and its figure; the word itself where none begins."""
        numbers = self.measures.numbers
        end, value = self._cardinal(words, at)
        if value is None:
            last, share = self._share(words, at)
            return (last, str(share)) if share else (at + 1, words[at])
        if words[end : end + 1] == ["and"]:
            times, behind = Fraction(1), end + 1
            if self._word(words, behind + 1) in self.measures.fractions and self._word(words, behind) in numbers:
                times, behind = numbers[words[behind]], behind + 1
            last, share = self._share(words, behind)
            if share:
                return last, f"{value} {share * times}"
        last, share = self._share(words, end)
        if share and last == end + 1 and value < 16:
            return last, str(share * value)
        several = self._word(words, end).removesuffix("s")
        if (
            not words[at].isdecimal()
            and 20 <= value < 100
            and value % 10 == 0
            and numbers.get(several, 0) in range(1, 10)
        ):
            return end + 1, f"{value + numbers[several]}s"
        return end, words[at] if end == at + 1 and words[at].isdecimal() else str(value)

    def _share(self, words: Sequence[str], at: int) -> tuple[int, Fraction | None]:
        """Where a part of one ("a half") beginning at a word ends, and its value; None where none begins."""
        if self._word(words, at) in ("a", "an", "one") and self._word(words, at + 1) in self.measures.fractions:
            at += 1
        return at + 1, self.measures.fractions.get(self._word(words, at))

    @staticmethod
    def _word(words: Sequence[str], at: int) -> str:
        return words[at] if at < len(words) else ""

    def _cardinal(self, words: Sequence[str], at: int) -> tuple[int, Fraction | None]:
        """Where the whole number beginning at a word ends, and its value; None where none begins."""
        numbers = self.measures.numbers
        word = words[at]
        value = Fraction(word) if word.isdecimal() else numbers.get(word)
        end = at + 1
        if word in ("a", "an") and words[end : end + 1] and numbers.get(words[end], 0) in (12, 100, 1000):
            value = Fraction(1) if numbers[words[end]] > 12 else numbers[words[end]]
            end += numbers[words[end]] == 12
        if value is None:
            return end, None
        if not word.isdecimal() and value in (100, 1000):
            return self._more(words, end, value)
        small = numbers.get(self._word(words, end), Fraction(0))
        if not word.isdecimal() and 20 <= value < 100 and 0 < small < 10:
            value, end = value + small, end + 1
        while words[end : end + 1] and numbers.get(words[end], 0) in (100, 1000):
            value, end = value * numbers[words[end]], end + 1
            end, value = self._more(words, end, value)
        return end, value

    def _more(self, words: Sequence[str], end: int, value: Fraction) -> tuple[int, Fraction]:
        """Hundreds or thousands with what follows of them ("and twenty")."""
        joined = end + (words[end : end + 1] == ["and"])
        if words[joined : joined + 1] and (words[joined] in self.measures.numbers):
            last, more = self._cardinal(words, joined)
            if more is not None and 0 < more < value:
                return last, value + more
        return end, value

    def _patterns(self) -> Iterator[tuple[str, _Maker]]:
        number = self.number
        lengths, times = self.measures.lengths, self.measures.times
        length = "|".join(
            re.escape(word) + ("(?![a-z])" if word.isalpha() else "") for word in sorted(lengths, key=len)[::-1]
        )
        time = _either(word for word in times if len(word) > 1)
        inch = _either(word for word, size in lengths.items() if size == 1)
        foot_words = [word for word, size in lengths.items() if size == 12]
        feet = "|".join(re.escape(word) + ("(?![a-z])" if word.isalpha() else "") for word in foot_words)
        hour = _either(word for word, size in times.items() if size == 60 and len(word) > 1)
        # Not a number's beginning or end: inside a word, a date, a longer figure.
        head, tail = r"(?:(?<![\w.,/'\"-])|(?<=\bpr)|(?<=\dx)|(?<=['\"]x)|(?<=[\s(]-)|(?<=[a-z'\")],))", r"(?![\w/])"
        inches = rf"(?:1[01]|\d)(?:[ -]+\d/\d+|\.\d+)?(?!\d)(?! ?(?:{feet}|{time}|h)(?!\w))"
        # Inches without their unit follow feet only where the measure then ends: not "3 foot 2 hinges".
        ends = r"(?= ?(?:$|[,.;)-]|wide|tall|high|doors?|leaf|leaves|by|x|each|single|pair|hm|wood|hollow))"
        behind = rf"(?:[ -]*(?:and )?{inches} ?(?:{inch})(?!\w)\.?|[ -]*{inches}{ends}|(?<=')-?{inches})"
        foot_inch = rf"{number} ?(?:{feet})\.?{behind}?"
        dashed = r"(?:1[0-2]|[1-9])(?:-|/)(?:1[01]|\d)(?![\d/])"
        side = rf"(?:{foot_inch}|{dashed}|{number}(?: ?(?:{length})\.?)?)"
        by = r" ?(?:x|by) ?"
        third = rf"(?:{by}(?P<t>{number}(?: ?(?:{inch})(?!\w)\.?)?))?"
        spoken = r"\d{1,2} (?:oh|o|zero|0|ought|\d{1,2})"
        before = rf"(?:(?P<b>{_either(self.measures.before)}) ?)?"
        behind = rf"(?:(?: ?(?P<e>{_either(self.measures.after)}))(?!\w))?"
        pair = rf"(?P<n>{number})(?: ?(?P<j>or|to|and|-|/) ?(?P<m>{number}))?"
        yield rf"{head}(?P<all>(?P<w>{spoken}){by}(?P<h>{spoken}s?)){tail}", self._spoken
        # The two leaves of a pair: "3-0/3-0 x 7-0".
        leaf = r"(?:1[0-2]|[1-9])(?:'?-|')(?:1[01]|\d)\"?"
        yield rf"{head}{leaf} ?[/+&] ?(?P<all>(?P<w>{leaf}){by}(?P<h>{leaf}))(?!\w)", self._sides
        yield rf"{head}(?P<all>(?P<x>{leaf}))(?= ?[/+&] ?{leaf}{by}{leaf}(?!\w))", self._feet
        yield rf"{head}(?P<all>(?P<w>{side}){by}(?P<h>{side}){third})(?!\w)", self._sides
        wide_high = rf"(?P<w>{number}) ?(?:{inch})? ?w(?:ide)?(?: x|,| by)? ?(?P<h>{number}) ?(?:{inch})? ?h(?:igh)?"
        yield rf"{head}(?P<all>{wide_high})(?!\w)", self._sides
        yield rf"{head}(?P<all>(?P<w>{dashed})(?: |, ?)(?P<h>{dashed})){tail}", self._sides
        yield rf"{head}(?P<all>(?P<w>{foot_inch}) (?P<h>{foot_inch}))(?!\w)", self._sides
        code_head, code_tail = rf"(?<!\d\d x )(?<!\d\dx)(?:{head}|(?<=\d{{4}}/))", r"(?!\w)(?!/\d{1,3}\b)(?! ?x ?\d\d)"
        yield rf"{code_head}(?P<all>(?P<c>\d{{4,6}})(?P<s>'?s)?){code_tail}(?! ?(?:{length}|amps?)(?!\w))", self._code
        yield rf"{head}(?P<all>(?P<w>{spoken})(?:(?: by|,)? )(?P<h>{spoken}s?)){tail}", self._spoken
        tens = r"seventies|eighties|nineties"
        yield rf"{head}(?P<all>(?P<w>[2-9][0-9]) (?P<h>[6-9][0-9]|{tens})(?P<s>s)?){tail}", self._tens
        half_hours = (
            rf"(?:(?P<n>{number}|an?) )?(?P<u>{hour}) and (?P<f>1/[24])|(?P<g>{number})(?: of)? an? (?P<v>{hour})"
        )
        yield rf"(?<![\w.])(?P<all>{before}(?:{half_hours}))(?!\w)", self._half_hour
        yield rf"{head}(?P<all>(?P<n>\d) ?h(?:rs?|ours?)? ?(?P<m>30)(?: ?(?:{time}))?){tail}", self._hours_thirty
        yield rf"{head}(?P<all>{before}{pair} ?(?P<u>{time})(?!\w)\.?{behind})", self._time
        yield rf"{head}(?P<all>(?P<n>20|45|60|90|180)m|(?P<g>{number})h)(?!\w)", self._tight_time
        yield rf"(?<!\w)(?P<all>{before}(?:an (?P<u>{hour})|(?P<v>{hour})(?= or )))(?!\w)", self._one_hour
        yield rf"{head}(?P<all>{before}{pair} ?(?:{_either(self.measures.amps)})(?!\w){behind})", self._amps
        yield rf"{head}(?P<all>(?P<x>{foot_inch}))(?!\w)", self._feet
        yield rf"(?<!\w)(?P<all>(?:an |1 )?(?P<u>inch) and (?P<n>{number})){tail}", self._inch_and
        yield rf"{head}(?P<all>{before}{pair} ?(?P<u>{length})\.?{behind})", self._length
        yield rf"{head}(?P<all>(?P<x>{dashed})){tail}", self._dashed
        yield rf"{head}(?P<all>(?P<x>\d{{1,2}} (?:oh|o|zero))){tail}", self._dashed
        yield rf"{head}(?P<all>{before}(?:between )?{pair}(?:(?!\w)|(?=ish\b)){behind})(?!/)", self._number

    # Reading what was found.

    def parse(self, text: str) -> Fraction | None:
        """The value of one figure; None where the text is none."""
        text = text.strip().replace(",", "")
        mixed = re.fullmatch(r"(\d+)(?: ?- ?| {1,2})(\d+/[1-9]\d*)", text)
        if mixed:
            return Fraction(mixed[1]) + Fraction(mixed[2])
        return Fraction(text) if re.fullmatch(r"\d+/[1-9]\d*|\d*\.\d+|\d+", text) else None

    def _compared(
        self, match: re.Match[str], kind: Kind, size: Fraction, low_text: str, high_text: str | None
    ) -> Measure | None:
        groups = match.groupdict()
        one = self.parse(low_text)
        two = self.parse(high_text) if high_text else None
        start, end = match.span("all")
        if one is None or (high_text and two is None):
            return None
        before = self.measures.before.get(groups.get("b") or "")
        after = self.measures.after.get(groups.get("e") or "")
        one *= size
        if two is not None:
            two *= size
            if groups.get("j") == "or" or (groups.get("j") == "/" and kind != "number"):
                return Measure(kind, start, end, options=(one, two))
            return Measure(kind, start, end, low=min(one, two), high=max(one, two))
        how = before or after
        if how in ("at_least", "more_than"):
            return Measure(kind, start, end, low=one, strict=how == "more_than")
        if how in ("at_most", "less_than"):
            return Measure(kind, start, end, high=one, strict=how == "less_than")
        if how == "about" and kind == "number" and one >= 10:
            reach = one * self.measures.about_share
            low, high = Fraction(-(-(one - reach) // 1)), Fraction((one + reach) // 1)
            return Measure(kind, start, end, low=low, high=high, about=True)
        return Measure(kind, start, end, options=(one,))

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
        either = re.fullmatch(r"(\d\d+)/(\d\d+)", n)
        if either:
            return self._options(match, (Fraction(either[1]), Fraction(either[2])))
        return self._compared(match, "time", size, n, m)

    def _options(self, match: re.Match[str], options: tuple[Fraction, ...]) -> Measure:
        return Measure("time", *match.span("all"), options=options)

    def _half_hour(self, match: re.Match[str]) -> Measure | None:
        groups = match.groupdict()
        if groups["u"]:
            n = groups["n"]
            whole = Fraction(1) if n in (None, "a", "an") else self.parse(n or "")
            hours = None if whole is None else whole + Fraction(groups["f"])
        else:
            hours = self.parse(groups["g"])
        return None if hours is None else self._compared(match, "time", Fraction(60), str(hours), None)

    def _hours_thirty(self, match: re.Match[str]) -> Measure | None:
        return self._options(match, (Fraction(match["n"]) * 60 + Fraction(match["m"]),))

    def _tight_time(self, match: re.Match[str]) -> Measure | None:
        if match["n"]:
            return self._options(match, (Fraction(match["n"]),))
        hours = self.parse(match["g"])
        return None if hours is None else self._options(match, (hours * 60,))

    def _one_hour(self, match: re.Match[str]) -> Measure | None:
        return self._compared(match, "time", Fraction(60), "1", None)

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
        spoken = re.fullmatch(r"(\d{1,2}) (oh|o|zero|ought|0|2|4|6|8|10)", text)
        if spoken:
            inches = int(spoken[2]) if spoken[2].isdecimal() else 0
            return Fraction(int(spoken[1]) * 12 + inches), Fraction(12)
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
                    over = self.parse(rest) if rest else Fraction(0)
                    return None if feet is None or over is None else (feet * 12 + over, Fraction(12))
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
        sides = [self._side(match[side].removesuffix("s")) for side in "wh"]
        wide, high = sides
        if wide is None or high is None or wide[1] != 12 or high[1] != 12 or high[0] < 72:
            return None
        return _size(match, (wide[0], high[0]), code=True, plural=match["h"].endswith("s"))

    def _tens(self, match: re.Match[str]) -> Measure | None:
        high = {"seventies": "70", "eighties": "80", "nineties": "90"}.get(match["h"], match["h"])
        digits = match["w"] + high
        sizes = sorted(set(_code_sizes(digits)))
        if len(sizes) != 1 or digits[1] not in "02468" or digits[3] not in "02468":
            return None
        return _size(match, sizes[0], code=True, plural=bool(match["s"]) or match["h"].endswith("s"))


def _either(words: Iterable[str]) -> str:
    return "|".join(re.escape(word) for word in sorted(set(words), key=lambda word: (-len(word), word)))


def _unit_of(width: Fraction, height: Fraction) -> Fraction | None:
    if width <= 12 and 5 <= height <= 12:
        return Fraction(12)
    if 12 <= width <= WIDEST and 12 <= height <= TALLEST:
        return Fraction(1)
    if width >= 300 and height >= 300:
        return Fraction(5, 127)
    return Fraction(50, 127) if width >= 40 and height > TALLEST else None


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
