"""Every word of the trade listed in corpus/vocabulary_rows.yaml is heard as its term, or as the reason there says."""

from __future__ import annotations

from typing import Any

import pytest
from hearing_score import CORPUS

from advisor import yaml_files
from advisor.facts import Between, OneOf, Possible
from advisor.knowledge.load import load_facts
from advisor.listening.hearing import Hearing
from advisor.listening.reading import Listener
from advisor.phrasebook.load import load_phrasebook
from advisor.yaml_files import data_folder

LISTENER = Listener(
    load_phrasebook([data_folder("dialogues")], load_facts(data_folder("knowledge_graph"))),
    load_facts(data_folder("knowledge_graph")),
)
TERMS: dict[str, Any] = dict(yaml_files.read(CORPUS / "vocabulary_rows.yaml").items())


def written(possible: Possible) -> str:
    """A value as the file writes it."""
    if isinstance(possible, OneOf):
        return "|".join(sorted(possible.values))
    assert isinstance(possible, Between)
    return str(possible.exact) if possible.exact is not None else f"{possible.at_least}..{possible.at_most}"


def heard_as(hearing: Hearing) -> str:
    """Everything stated, named and wanted; ``asked``, ``left`` or ``known`` where a form tells nothing."""
    told = {
        f"{heard.fact}={written(heard.possible)}"
        for heard in hearing.heard
        if heard.possible and heard.how != "implied"
    }
    told |= {f"item={mention.item}" for mention in hearing.mentions}
    told |= {f"wants={want.name}:{want.about}" for want in hearing.wants}
    told |= {"asked"} if hearing.ambiguous else set()
    told |= {"left"} if hearing.not_understood else set()
    return " ".join(sorted(told)) or "known"


@pytest.mark.parametrize("term", TERMS)
def test_a_term_is_heard_in_every_form(term: str) -> None:
    entry = TERMS[term]
    for form in entry.get("forms", ()):
        assert heard_as(LISTENER.hear(form)) == entry["hears"], form
    for form, other in entry.get("otherwise", {}).items():
        assert heard_as(LISTENER.hear(form)) == other["hears"], form
        assert other["hears"] != entry["hears"]
        assert other["why"]


def test_few_forms_are_heard_otherwise() -> None:
    as_term = sum(len(entry.get("forms", ())) for entry in TERMS.values())
    otherwise = sum(len(entry.get("otherwise", {})) for entry in TERMS.values())
    assert as_term + otherwise > 1900
    assert otherwise / (as_term + otherwise) < 0.08
