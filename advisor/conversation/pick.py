"""Answers that pick one of the choices shown, by its number or its place: "2", "the second", "the last"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from advisor.facts import FactKind, Heard, OneOf, Possible
from advisor.listening.hearing import Hearing
from advisor.phrasebook.book import Phrasebook

LAST = -1


class Picker:
    """Reads picks against the choices that were shown: fewer than the question's where some are ruled out."""

    def __init__(self, book: Phrasebook) -> None:
        self._ordinals: dict[str, int] = {}
        for term in book.terms.values():
            if term.marks and term.marks.startswith("ordinal_"):
                which = term.marks.removeprefix("ordinal_")
                self._ordinals |= dict.fromkeys(term.phrases, LAST if which == "last" else int(which) - 1)
        self._numbers = {
            word: int(number) - 1 for word, number in book.measures.numbers.items() if number.denominator == 1
        }

    def picked(
        self, text: str, hearing: Hearing, kind: FactKind, offered: Sequence[Possible | None], between_two: bool
    ) -> Hearing:
        """The hearing with every pick taken as one of the choices shown; a pick of none of them is not understood.

        Args:
            text: the message.
            hearing: what the listener heard, which counts through all choices of the question.
            kind: the fact asked about.
            offered: what each choice shown means, in order; None is "I don't know".
            between_two: the choices are two statements of the customer's that contradict each other.
        """
        whole = text.strip(" \t.,!?")
        place = self._place(whole, kind, offered)
        if place is not None and 0 <= place < len(offered):
            start = text.index(whole)
            picked = _picking(Heard(kind.name, None, whole, start, start + len(whole)), kind, offered[place])
            return replace(hearing, heard=(picked,), ambiguous=(), not_understood=())
        heard, lost = [], []
        for each in hearing.heard:
            place = self._place(each.text, kind, offered) if each.fact == kind.name else None
            if place is not None and not 0 <= place < len(offered):
                lost.append(each.text)
            elif place is not None:
                heard.append(_picking(each, kind, offered[place]))
            elif not (between_two and each.fact == kind.name and each.how == "denied"):
                # a bare "no" chooses neither of two statements
                heard.append(each)
        return replace(hearing, heard=tuple(heard), not_understood=(*hearing.not_understood, *lost))

    def _place(self, words: str, kind: FactKind, offered: Sequence[Possible | None]) -> int | None:
        """The place among the choices shown that the words point to, perhaps beyond their end; None where to none."""
        place = self._ordinals.get(words.lower())
        if place is None and kind.kind == "choice":
            place = self._numbers.get(words.lower())
            if place is None and words.isascii() and words.isdecimal() and len(words) < 4:
                place = int(words) - 1
        return sum(choice is not None for choice in offered) - 1 if place == LAST else place


def _picking(heard: Heard, kind: FactKind, choice: Possible | None) -> Heard:
    if choice is None:
        return replace(heard, possible=None, how="unsure")
    if heard.how == "denied" and isinstance(choice, OneOf):
        return replace(heard, possible=OneOf(frozenset(kind.choices) - choice.values))
    return replace(heard, possible=choice)
