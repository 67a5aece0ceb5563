"""What is heard in whole messages, in many voices."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

import pytest

from advisor import yaml_files
from advisor.facts import Between, FactKind, Heard, OneOf
from advisor.knowledge.load import load_facts
from advisor.listening.measures import MeasureReader
from advisor.listening.reading import LONGEST, Hearing, Listener
from advisor.listening.words import Spelling
from advisor.phrasebook.load import load_phrasebook
from advisor.yaml_files import data_folder

KINDS = load_facts(data_folder("knowledge_graph"))
BOOK = load_phrasebook([data_folder("dialogues")], KINDS)
LISTENER = Listener(BOOK, KINDS)

UTTERANCES = [
    (voice, entry)
    for voice, entries in yaml_files.read(Path(__file__).with_name("utterances.yaml")).items()
    for entry in entries
]


def shown(heard: Heard, kind: FactKind) -> str:
    """A heard value as utterances.yaml writes it."""
    if heard.possible is None:
        return "?"
    if isinstance(heard.possible, OneOf):
        text = "|".join(sorted(heard.possible.values))
    elif heard.possible.exact is not None:
        text = str(heard.possible.exact)
    else:
        low, high = heard.possible.at_least, heard.possible.at_most
        text = f"{'' if low is None else low}..{'' if high is None else high}"
    before = "~" if heard.how == "implied" else ""
    return before + text + ("?" if heard.how == "unsure" else "")


def facts_of(hearing: Hearing) -> dict[str, str]:
    """Every fact heard; of several the last, joined where they differ."""
    facts: dict[str, str] = {}
    for heard in hearing.heard:
        name = heard.fact if heard.opening == 1 else f"{heard.opening}:{heard.fact}"
        value = shown(heard, KINDS[heard.fact])
        facts[name] = value if name not in facts else "|".join(sorted({*facts[name].split("|"), *value.split("|")}))
    return facts


def expected_of(facts: Mapping[str, str]) -> dict[str, str]:
    """The facts of an utterance with broader values spelled out and alternatives in order."""
    expected = {}
    for name, value in facts.items():
        kind = KINDS[name.split(":")[-1]]
        before, after = ("~" if value.startswith("~") else ""), ("?" if value.endswith("?") else "")
        values = value.strip("~?")
        if kind.kind != "quantity" and values:
            values = "|".join(sorted(low for one in values.split("|") for low in kind.finest(one)))
        expected[name] = before + values + after
    return expected


@pytest.mark.parametrize(
    ("voice", "entry"), UTTERANCES, ids=[f"{voice}: {entry['said']}" for voice, entry in UTTERANCES]
)
def test_exactly_these_facts_are_heard(voice: str, entry: yaml_files.Mapping) -> None:
    hearing = LISTENER.hear(entry["said"], entry.get("asked"))
    assert facts_of(hearing) == expected_of(entry["facts"]), entry.place
    if "corrects" in entry:
        assert sorted({heard.fact for heard in hearing.heard if heard.corrects}) == sorted(entry["corrects"])


@pytest.mark.parametrize(
    ("voice", "entry"), UTTERANCES, ids=[f"{voice}: {entry['said']}" for voice, entry in UTTERANCES]
)
def test_what_is_heard_points_at_the_customers_own_words(voice: str, entry: yaml_files.Mapping) -> None:
    hearing = LISTENER.hear(entry["said"], entry.get("asked"))
    spans = [*hearing.heard, *hearing.wants, *hearing.mentions, *hearing.ambiguous]
    assert [entry["said"][span.start : span.end] for span in spans] == [span.text for span in spans]
