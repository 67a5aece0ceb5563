"""Short answers to the question just asked."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.facts import Between, FactKind, How, OneOf, Possible
from advisor.listening.phrases import Match
from advisor.listening.sentence import Part, Sentence
from advisor.listening.values import complement, possible_of
from advisor.phrasebook.book import Phrasebook

_ORDINALS = {f"ordinal_{number}": number - 1 for number in range(1, 7)} | {"ordinal_last": -1}


def answer(
    sentence: Sentence,
    asked: str,
    kind: FactKind,
    book: Phrasebook,
    units: str | None,
    covered: set[int],
    already: bool,
) -> list[tuple[Part, Possible | None, How]]:
    """What the message answers to the question: the words, what they leave possible, and how it was said.

    Args:
        sentence: the message.
        asked: the fact asked about.
        kind: its kind.
        book: the phrasebook.
        units: the unit of lengths said without one.
        covered: the words something was already made of.
        already: whether a phrase of the message already tells the fact.
    """
    question = book.questions[asked]
    number = _number(sentence, asked, kind, book, units, covered)
    if number is not None and not already:
        return [number]
    if already:
        return []
    for part in sentence.parts:
        mark = part.mark
        if mark is None or part.dropped:
            continue
        if mark in _ORDINALS and question.choices:
            place = _ORDINALS[mark]
            if place < len(question.choices):
                return [_chosen(part, kind, question.choices[place].value)]
        if mark in ("yes_unsure", "doubt"):
            said = "yes" if mark == "yes_unsure" else "no"
            possible = question.answers.get(said, OneOf(frozenset({said})) if kind.kind == "yes_no" else None)
            if possible is not None and not _says_more(sentence, part):
                return [(part, possible, "unsure")]
        alone = mark == "negation_after" and not _says_more(sentence, part)
        if alone or (mark in ("yes", "no") and sentence.is_answer(part)):
            mark = "no" if alone else mark
            possible = question.answers.get(mark)
            if possible is None and kind.kind == "yes_no":
                possible = OneOf(frozenset({mark}))
            if possible is not None and not _corrected(sentence, part):
                how: How = "unsure" if part.hedged or _hedged(sentence) else ("denied" if mark == "no" else "stated")
                return [(part, possible, how)]
        if mark in ("both", "neither", "any"):
            possible = question.answers.get(mark)
            if possible is not None:
                return [(part, possible, "stated")]
            if mark == "any" and not _says_more(sentence, part):
                return [(part, None, "unsure")]
    label = _label(sentence, kind, book, asked, covered)
    if label is not None:
        return [label]
    for part in sentence.parts:
        if part.mark == "unsure" and not any(other.unknown and other.tells for other in sentence.parts):
            return [(part, None, "unsure")]
    return []


def decision(sentence: Sentence) -> tuple[Part, str] | None:
    """The yes or no of its own that a message answers a question with, and its part; None where it has none."""
    for part in sentence.parts:
        if part.dropped:
            continue
        if part.mark in ("yes", "no") and sentence.is_answer(part) and not _corrected(sentence, part):
            return part, part.mark
        if part.mark == "correction" and sentence.answers_no(part):
            return part, "no"
        if part.mark == "negation_after" and not _says_more(sentence, part):
            return part, "no"
    return None


def _says_more(sentence: Sentence, part: Part) -> bool:
    return any(other.tells and other is not part for other in sentence.parts)


def _hedged(sentence: Sentence) -> bool:
    return any(part.mark == "hedge" for part in sentence.parts)


def _corrected(sentence: Sentence, part: Part) -> bool:
    """Whether a "no" or "yes" is taken back or only begins a correction."""
    return any(
        other.mark == "correction" and other.start > part.start and other.start - part.end <= 1
        for other in sentence.parts
    )


def _chosen(part: Part, kind: FactKind, value: str) -> tuple[Part, Possible | None, How]:
    possible: Possible | None = OneOf(frozenset({value}))
    if part.denied:
        assert possible is not None
        possible = complement(possible, kind)
        return part, possible, "denied"
    return part, possible, "unsure" if part.hedged else "stated"


def _number(
    sentence: Sentence, asked: str, kind: FactKind, book: Phrasebook, units: str | None, covered: set[int]
) -> tuple[Part, Possible | None, How] | None:
    """A number left over that fits the fact, or is a choice's number."""
    spoken = _spoken_feet(sentence, kind, covered)
    if spoken is not None:
        return spoken
    for part in sorted(sentence.parts, key=lambda part: (part.denied, not part.corrects)):
        measure = part.measure
        if measure is None or part.start in covered or part.dropped or part.asked:
            continue
        if kind.unit == "in" and measure.kind not in ("number", "length"):
            continue
        if kind.unit != "in" and measure.kind not in ("number", "time" if kind.unit == "min" else "number"):
            continue
        how: How = "unsure" if part.hedged or measure.about else "stated"
        possible = possible_of(measure, kind, "exact", units, book.measures.lengths)
        value = measure.value
        if possible is not None:
            if part.denied:
                left = complement(possible, kind)
                return (part, left, "denied") if left is not None else None
            return part, possible, how
        choices = book.questions[asked].choices
        if kind.kind == "steps" and kind.unit == "min" and value is not None and value.denominator != 1:
            hours = value * 60
            if str(hours) in kind.choices:
                return part, OneOf(frozenset({str(hours)})), how
        if (
            kind.kind in ("choice", "yes_no")
            and value is not None
            and value.denominator == 1
            and 1 <= value <= len(choices)
        ):
            return _chosen(part, kind, choices[int(value) - 1].value)
    return None


def _spoken_feet(sentence: Sentence, kind: FactKind, covered: set[int]) -> tuple[Part, Possible | None, How] | None:
    """Feet and inches said as two words: "two eight" is 2 ft 8 in."""
    parts = [part for part in sentence.parts if part.measure is not None and part.start not in covered]
    if kind.unit != "in" or len(parts) != 2 or parts[0].end != parts[1].start:
        return None
    one, other = parts[0].measure, parts[1].measure
    if one is None or other is None or not (one.in_words and other.in_words):
        return None
    feet, inches = one.value, other.value
    if feet is None or inches is None or not 1 <= feet <= 10 or inches not in (2, 4, 6, 8, 10):
        return None
    covered.update(range(parts[1].start, parts[1].end))
    value = feet * 12 + inches
    return parts[0], Between(value, value), "unsure" if parts[0].hedged else "stated"


def _label(
    sentence: Sentence, kind: FactKind, book: Phrasebook, asked: str, covered: set[int]
) -> tuple[Part, Possible | None, How] | None:
    """A choice whose label or name the left-over words are."""
    filler = book.words["filler"]
    left = [at for at, word in enumerate(sentence.words) if at not in covered and word not in filler and word.isalnum()]
    if not left or any(sentence.words[at].isdecimal() for at in left):
        return None
    words = [sentence.words[at] for at in left]
    labels = {
        choice.value: {*_plain(choice.label), *choice.value.split("_")} for choice in book.questions[asked].choices
    }
    fitting = [value for value, label in labels.items() if label.issuperset(words)]
    if not fitting or len(fitting) == len(labels) or len(fitting) > 3:
        return None
    part = Part(left[0], left[-1] + 1, None, Match(left[0], left[-1] + 1, ()))
    return part, OneOf(frozenset(fitting)), "stated"


def _plain(label: str) -> Sequence[str]:
    return "".join(sign if sign.isalnum() else " " for sign in label.lower()).split()
