"""What the files under dialogues/ say, as data: phrases and what they mean, questions, wording, measures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from advisor.facts import Possible
from advisor.yaml_files import Place

Bound = Literal["exact", "at_least", "at_most"]


@dataclass(frozen=True, slots=True)
class Slot:
    """A measure standing in a phrase (``{number} people``) that becomes a fact's value or bound."""

    name: str
    bound: Bound = "exact"


@dataclass(frozen=True, slots=True)
class Term:
    """What some phrases mean. Every attribute but name, phrases and place may be empty.

    Attributes:
        name: ``<file>/<entry>``.
        phrases: ways to say it, in any case; ``{number}``, ``{length}``, ``{time}``, ``{amps}`` stand for measures.
        written: abbreviations that count only in capitals as written here.
        says: facts and what the phrase leaves possible of them.
        raw: for choice facts, the value as the file has it (``wood``, not its finest kinds).
        implies: facts that follow where nothing else in the message speaks of them.
        denied: what the phrase leaves possible when it is denied; None means everything but what it says.
        mentions: the hardware item named.
        wants: what the customer wants.
        about: what a want is about, where the phrase itself tells.
        names: the fact named without a value ("the rating").
        marks: the part the phrase plays in a sentence (negation, hedge, correction, yes, no, …).
        readings: for words that can mean several things, the wording keys of the meanings.
        beside: the phrase has this meaning only with one of these words close by.
        before: the phrase has this meaning only right before one of these words.
        whole: the phrase has this meaning only where it is the whole message.
        answer: the phrase has this meaning only as the answer to a question about a fact it says: the whole message or
            all of it between two signs of punctuation.
        gives_way: another statement of the same fact in the message is the exact one ("pair", beside "double egress").
        reads_as: how this meaning is put to the customer when the words could mean something else as well.
    """

    name: str
    phrases: tuple[str, ...]
    place: Place
    written: tuple[str, ...] = ()
    says: Mapping[str, Possible | Slot] = field(default_factory=dict)
    raw: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    implies: Mapping[str, Possible] = field(default_factory=dict)
    denied: Mapping[str, Possible] | None = None
    mentions: str | None = None
    wants: str | None = None
    about: str | None = None
    names: str | None = None
    marks: str | None = None
    readings: tuple[str, ...] = ()
    beside: frozenset[str] = frozenset()
    before: frozenset[str] = frozenset()
    whole: bool = False
    answer: bool = False
    gives_way: bool = False
    reads_as: str | None = None
    hear: tuple[str, ...] = ()
    hear_not: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer offered with a question."""

    value: str
    label: str


@dataclass(frozen=True, slots=True)
class Question:
    """How a fact is asked.

    Attributes:
        unsure: the label of the answer "I don't know".
        who_can_tell: who knows, or where to look.
        answers: what short answers (``yes``, ``no``, ``any``, ``both``, ``neither``) mean, where they mean anything.
    """

    fact: str
    text: str
    why: str
    choices: tuple[Choice, ...]
    unsure: str
    who_can_tell: str
    answers: Mapping[str, Possible] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Measures:
    """How numbers, units and comparisons are said.

    Attributes:
        numbers: words and their values.
        fractions: words for parts of one.
        lengths, times: unit words and their size in inches and minutes.
        amps: unit words of current.
        before, after: comparison phrases that stand before or after a number, each with its kind
            (``at_least``, ``more_than``, ``at_most``, ``less_than``, ``about``).
        about_share: how far "about" reaches either way, as a share of the number.
    """

    numbers: Mapping[str, Fraction]
    fractions: Mapping[str, Fraction]
    lengths: Mapping[str, Fraction]
    times: Mapping[str, Fraction]
    amps: tuple[str, ...]
    before: Mapping[str, str]
    after: Mapping[str, str]
    about_share: Fraction


@dataclass(frozen=True, slots=True)
class Phrasebook:
    """Everything under dialogues/.

    Attributes:
        wording: the sentence templates and, under ``reads_as.<term>``, the meanings put to the customer when words
            could mean several things.
        words: the word lists of words.yaml.
        labels: the labels of the questions' choices, as terms that only answer their question.
        short: the trade's short words, each with the word it stands for.
    """

    terms: Mapping[str, Term]
    questions: Mapping[str, Question]
    wording: Mapping[str, str]
    measures: Measures
    words: Mapping[str, frozenset[str]]
    labels: tuple[Term, ...] = ()
    short: Mapping[str, str] = field(default_factory=dict)
