"""The phrasebook, read from the folders it lies in and checked."""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from advisor import yaml_files
from advisor.errors import PhrasebookError
from advisor.facts import Between, FactKind, OneOf, Possible
from advisor.phrasebook.book import Bound, Choice, Measures, Phrasebook, Question, Slot, Term
from advisor.yaml_files import Place

MARKS = frozenset(
    [
        "negation",
        "negation_after",
        "doubt",
        "yes_unsure",
        "hedge",
        "correction",
        "takes_back",
        "unsure",
        "yes",
        "no",
        "any",
        "both",
        "neither",
        "or",
        "but",
        "asking",
        "asking_first",
        "plus",
        "next_opening",
        "this_opening",
        "ordinal_1",
        "ordinal_2",
        "ordinal_3",
        "ordinal_4",
        "ordinal_5",
        "ordinal_6",
        "ordinal_last",
        "known",
    ]
)
WORD_LISTS = (
    "filler",
    "english",
    "light",
    "prepositions",
    "openers",
    "wall",
    "wall_place",
    "wall_between",
    "door",
    "inside",
    "answering",
    "around",
    "passages",
    "toward",
    "polite",
)
SLOTS = frozenset({"number", "length", "time", "amps", "size", "inches", "minutes"})
_TERM_KEYS = [
    "phrases",
    "written",
    "says",
    "implies",
    "denied",
    "mentions",
    "wants",
    "about",
    "names",
    "marks",
    "readings",
    "beside",
    "before",
    "whole",
    "answer",
    "gives_way",
    "reads_as",
    "hear",
    "not",
]
_MEANINGS = ("says", "mentions", "wants", "names", "marks", "readings")
_ANSWERS = ("yes", "no", "any", "both", "neither")


def load_phrasebook(folders: Sequence[Path], kinds: Mapping[str, FactKind]) -> Phrasebook:
    """The phrasebook the folders hold together; a later folder adds to an earlier one.

    Each folder may hold ``questions.yaml``, ``measures.yaml``, ``words.yaml``, ``vocabulary/*.yaml`` and
    ``wording/*.yaml``.

    Raises:
        PhrasebookError: with file and line, for a key nobody reads, a fact or value that isn't declared, a fact
            without a question, or a phrase of two meanings that can't be told apart or asked about.
    """
    terms: dict[str, Term] = {}
    questions: dict[str, Question] = {}
    wording: dict[str, str] = {}
    words: dict[str, set[str]] = {key: set() for key in WORD_LISTS}
    short: dict[str, str] = {}
    measures: Measures | None = None
    labels: list[Term] = []
    for folder in folders:
        for path, shown in yaml_files.files_under(folder):
            part = path.relative_to(folder).parts[0]
            if part == "privacy.yaml":  # read by what masks lines
                continue
            data = yaml_files.read(path, shown, PhrasebookError)
            if part == "vocabulary":
                for name, entry in data.items():
                    term = _term(f"{path.stem}/{name}", entry, data, kinds)
                    _add(terms, term.name, term, data.at(name))
            elif part == "wording":
                for key, text in data.items():
                    _add(wording, key, _template(data, key, text), data.at(key))
            elif part == "questions.yaml":
                for fact, entry in data.items():
                    _add(questions, fact, _question(fact, entry, data, kinds), data.at(fact))
                    labels.extend(_labels(questions[fact], kinds[fact], data.at(fact)))
            elif part == "measures.yaml":
                measures = _measures(data)
            elif part == "privacy.yaml":
                continue  # read by the log, not by the listener
            elif part == "words.yaml":
                yaml_files.check_keys(data, (), (*words, "short"), PhrasebookError)
                short.update(_short(data, short))
                for key, found in words.items():
                    found.update(word for text in yaml_files.texts(data, key, PhrasebookError) for word in text.split())
            else:
                raise PhrasebookError(data.place, "Nothing is read from this place.")
    if measures is None:
        raise PhrasebookError(folders[0] if folders else "dialogues", "measures.yaml is missing.")
    for fact in kinds:
        if fact not in questions:
            raise PhrasebookError("dialogues/questions.yaml:1", f"There is no question for the fact {fact!r}.")
    _check_shared(terms, short)
    for term in terms.values():
        if term.reads_as:
            wording[f"reads_as.{term.name}"] = term.reads_as
    for term in terms.values():
        for key in term.readings:
            if key not in wording:
                raise PhrasebookError(term.place, f"The reading {key!r} has no wording.", wording, got=key)
    lists = {key: frozenset(found) for key, found in words.items()}
    return Phrasebook(terms, questions, wording, measures, lists, tuple(labels), short)


def _short(data: yaml_files.Mapping, known: Mapping[str, str]) -> dict[str, str]:
    entry = data.get("short", {})
    if not isinstance(entry, dict):
        raise PhrasebookError(data.at("short"), "'short' takes short words and the words they stand for.")
    for word, long in entry.items():
        if not isinstance(long, str) or len(long.split()) != 1 or len(word.split()) != 1 or long in {**known, **entry}:
            place = entry.at(word) if isinstance(entry, yaml_files.Mapping) else data.at("short")
            raise PhrasebookError(place, f"{word!r} must stand for one word that is not short itself.")
    return dict(entry)


def _add(found: dict[str, Any], name: str, entry: Any, place: object) -> None:
    if name in found:
        raise PhrasebookError(place, f"{name!r} is declared twice.")
    found[name] = entry


def _template(data: yaml_files.Mapping, key: str, text: Any) -> str:
    if not isinstance(text, str):
        raise PhrasebookError(data.at(key), f"The wording {key!r} must be text.")
    try:
        names = [name for _, name, _, _ in string.Formatter().parse(text) if name is not None]
    except ValueError as problem:
        raise PhrasebookError(data.at(key), f"The fields of {key!r} can't be read: {problem}.") from None
    if any(not name.isidentifier() for name in names):
        raise PhrasebookError(data.at(key), f"The fields of {key!r} need names.")
    return text


def _term(name: str, entry: Any, data: yaml_files.Mapping, kinds: Mapping[str, FactKind]) -> Term:
    place = data.at(name.split("/", 1)[1])
    if not isinstance(entry, yaml_files.Mapping):
        raise PhrasebookError(place, f"{name!r} must be a mapping.", _TERM_KEYS)
    yaml_files.check_keys(entry, (), _TERM_KEYS, PhrasebookError)
    if not any(key in entry for key in _MEANINGS):
        raise PhrasebookError(entry.place, f"{name!r} says nothing.", _MEANINGS)
    phrases = yaml_files.texts(entry, "phrases", PhrasebookError)
    written = yaml_files.texts(entry, "written", PhrasebookError)
    if not phrases and not written:
        raise PhrasebookError(entry.place, f"{name!r} has no phrases.")
    for phrase in phrases:
        for slot in [field for _, field, _, _ in string.Formatter().parse(phrase) if field is not None]:
            if slot not in SLOTS:
                raise PhrasebookError(entry.at("phrases"), f"{{{slot}}} is no measure.", SLOTS, got=slot)
    marks = entry.get("marks")
    if marks is not None and marks not in MARKS:
        raise PhrasebookError(entry.at("marks"), f"{marks!r} is no mark.", MARKS, got=str(marks))
    names = entry.get("names")
    if names is not None and names not in kinds:
        raise PhrasebookError(entry.at("names"), f"{names!r} is no fact.", kinds, got=str(names))
    says, raw = _facts(entry, "says", kinds)
    implies, _ = _facts(entry, "implies", kinds)
    denied = _facts(entry, "denied", kinds)[0] if "denied" in entry else None
    return Term(
        name=name,
        phrases=phrases,
        place=entry.place,
        written=written,
        says=says,
        raw=raw,
        implies={fact: said for fact, said in implies.items() if not isinstance(said, Slot)},
        denied=None if denied is None else {f: said for f, said in denied.items() if not isinstance(said, Slot)},
        mentions=entry.get("mentions"),
        wants=entry.get("wants"),
        about=entry.get("about"),
        names=names,
        marks=marks,
        readings=yaml_files.texts(entry, "readings", PhrasebookError),
        beside=frozenset(yaml_files.texts(entry, "beside", PhrasebookError)),
        before=frozenset(yaml_files.texts(entry, "before", PhrasebookError)),
        whole=entry.get("whole") == "yes",
        answer=entry.get("answer") == "yes",
        gives_way=entry.get("gives_way") == "yes",
        reads_as=entry.get("reads_as"),
        hear=yaml_files.texts(entry, "hear", PhrasebookError),
        hear_not=yaml_files.texts(entry, "not", PhrasebookError),
    )


def _facts(
    entry: yaml_files.Mapping, key: str, kinds: Mapping[str, FactKind]
) -> tuple[dict[str, Possible | Slot], dict[str, tuple[str, ...]]]:
    said: dict[str, Possible | Slot] = {}
    raw: dict[str, tuple[str, ...]] = {}
    facts = entry.get(key, {})
    if not isinstance(facts, dict):
        raise PhrasebookError(entry.at(key), f"{key!r} takes facts and their values.")
    for fact, value in facts.items():
        place = facts.at(fact) if isinstance(facts, yaml_files.Mapping) else entry.at(key)
        if fact not in kinds:
            raise PhrasebookError(place, f"{fact!r} is no fact.", kinds, got=fact)
        said[fact] = _value(kinds[fact], value, place)
        if isinstance(value, str):
            raw[fact] = (value,)
        elif isinstance(value, list):
            raw[fact] = tuple(value)
    return said, raw


def _value(kind: FactKind, value: Any, place: object) -> Possible | Slot:
    if isinstance(value, str) and value.startswith("{"):
        return Slot(value.strip("{}"))
    if isinstance(value, dict):
        if len(value) == 1 and str(next(iter(value.values()))).startswith("{"):
            bound, slot = next(iter(value.items()))
            bounds: dict[str, Bound] = {"at_least": "at_least", "at_most": "at_most"}
            if bound not in bounds:
                raise PhrasebookError(place, f"{bound!r} is no bound.", bounds)
            return Slot(slot.strip("{}"), bounds[bound])
        low, high = value.get("at_least"), value.get("at_most")
        if kind.kind == "quantity":
            return Between(_number(low, place) if low else None, _number(high, place) if high else None)
        inside = (
            step
            for step in kind.choices
            if (low is None or Fraction(step) >= _number(low, place))
            and (high is None or Fraction(step) <= _number(high, place))
        )
        return OneOf(frozenset(inside))
    values = [value] if isinstance(value, str) else list(value)
    if kind.kind == "quantity":
        return Between(_number(values[0], place), _number(values[0], place))
    finest = {low for one in values for low in kind.finest(one)}
    for one in values:
        if not kind.finest(one):
            raise PhrasebookError(
                place, f"{one!r} is no value of {kind.name}.", {*kind.choices, *kind.groups}, got=str(one)
            )
    return OneOf(frozenset(finest))


def _number(text: Any, place: object) -> Fraction:
    try:
        return sum((Fraction(part) for part in str(text).split()), Fraction(0))
    except ValueError:
        raise PhrasebookError(place, f"{text!r} is no number.") from None


def _question(fact: str, entry: Any, data: yaml_files.Mapping, kinds: Mapping[str, FactKind]) -> Question:
    place = data.at(fact)
    if fact not in kinds:
        raise PhrasebookError(place, f"{fact!r} is no fact.", kinds, got=fact)
    if not isinstance(entry, yaml_files.Mapping):
        raise PhrasebookError(place, f"The question for {fact!r} must be a mapping.")
    kind = kinds[fact]
    needed = ["text", "why", "unsure", "who_can_tell"] + (["choices"] if kind.choices else [])
    yaml_files.check_keys(entry, needed, _ANSWERS, PhrasebookError)
    choices = entry.get("choices", {})
    if kind.choices and sorted(choices) != sorted(kind.choices):
        missing = sorted(set(kind.choices) ^ set(choices))
        raise PhrasebookError(entry.at("choices"), f"Labels and choices of {fact!r} differ: {', '.join(missing)}.")
    answers: dict[str, Possible] = {}
    for key in _ANSWERS:
        if key in entry:
            said = _value(kind, entry[key], entry.at(key))
            if isinstance(said, Slot):
                raise PhrasebookError(entry.at(key), "A short answer takes a value.")
            answers[key] = said
    return Question(
        fact=fact,
        text=entry["text"],
        why=entry["why"],
        choices=tuple(Choice(value, choices[value]) for value in kind.choices),
        unsure=entry["unsure"],
        who_can_tell=entry["who_can_tell"],
        answers=answers,
    )


def _labels(question: Question, kind: FactKind, place: Place) -> list[Term]:
    """The labels of a question's choices as answers; a wording two choices share is none of theirs."""
    if kind.kind == "yes_no":
        return []
    wordings = {choice.value: _wordings(choice) for choice in question.choices}
    labels = []
    for value, own in wordings.items():
        others = {text for other, texts in wordings.items() if other != value for text in texts}
        phrases = tuple(text for text in own if text not in others)
        says = {kind.name: OneOf(frozenset({value}))}
        labels.append(Term(f"questions/{kind.name}.{value}", phrases, place, says=says, answer=True))
    return labels


def _wordings(choice: Choice) -> list[str]:
    """The ways a choice's label is said: whole, without what stands in brackets, and each side of an "or"."""
    bare, _, bracketed = choice.label.lower().partition("(")
    told = [choice.label, bare, bracketed.rstrip(") "), choice.value.replace("_", " ")]
    if " or " in bare:
        told.extend(part for side in bare.split(" or ") for part in side.split(", "))
    plain = ["".join(sign if sign.isalnum() or sign == "/" else " " for sign in text.lower()).split() for text in told]
    singular = [
        [*words[:-1], words[-1][:-1]] for words in plain if words and words[-1].endswith("s") and len(words) == 1
    ]
    kept = [words for words in singular if len(words[-1]) > 3 and not words[-1].endswith("s")]
    return list(dict.fromkeys([choice.label.lower(), *(" ".join(words) for words in (*plain, *kept) if words)]))


def _measures(data: yaml_files.Mapping) -> Measures:
    keys = ["numbers", "fractions", "lengths", "times", "amps", "before", "after", "about_share"]
    yaml_files.check_keys(data, keys, (), PhrasebookError)

    def valued(key: str) -> dict[str, Fraction]:
        return {word: _number(value, data[key].at(word)) for word, value in data[key].items()}

    def phrases(key: str) -> dict[str, str]:
        return {text: kind for kind in data[key] for text in yaml_files.texts(data[key], kind, PhrasebookError)}

    def units(key: str) -> dict[str, Fraction]:
        found: dict[str, Fraction] = {}
        for entry in data[key].values():
            size = _number(entry["size"], entry.at("size"))
            found |= dict.fromkeys(yaml_files.texts(entry, "words", PhrasebookError), size)
        return found

    return Measures(
        numbers=valued("numbers"),
        fractions=valued("fractions"),
        lengths=units("lengths"),
        times=units("times"),
        amps=yaml_files.texts(data, "amps", PhrasebookError),
        before=phrases("before"),
        after=phrases("after"),
        about_share=_number(data["about_share"], data.at("about_share")),
    )


def _check_shared(terms: Mapping[str, Term], short: Mapping[str, str]) -> None:
    """A phrase with several meanings must be decidable by what stands beside it, or be worth asking about."""
    first: dict[tuple[str, str], Term] = {}
    for term in terms.values():
        if term.marks == "known" and not term.reads_as:
            continue
        for case, phrases in (("any", term.phrases), ("capitals", term.written)):
            for phrase in phrases:
                spelled = [short.get(word, word) for word in phrase.lower().replace("-", " ").split()]
                key = (case, " ".join(spelled))
                other = first.setdefault(key, term)
                if other is term:
                    continue
                decidable = any(one.beside or one.before or one.whole or one.answer for one in (term, other))
                if not decidable and not (term.reads_as and other.reads_as):
                    raise PhrasebookError(
                        term.place,
                        f"{phrase!r} is also a phrase of {other.name!r}. "
                        "Give one of them 'beside' words, or each a 'reads_as'.",
                    )
