"""Every conversation in demo_sessions/ goes as it is written there."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml

from advisor.conversation.counter import Counter
from advisor.conversation.mind import Mind
from advisor.knowledge.parts import Arrangement

FOLDER = Path(__file__).parents[1] / "demo_sessions"
SESSIONS = {path.stem: yaml.safe_load(path.read_text(encoding="utf-8")) for path in sorted(FOLDER.glob("*.yaml"))}
SAID = {"counter", "set", "answer_includes", "refusal_includes"}
SET_PARTS = {"latching", "lines", "only_if", "unmet", "assumed_include", "cautions_include"}


def test_there_are_thirty_sessions_and_half_of_them_are_about_pairs() -> None:
    about_pairs = [name for name, session in SESSIONS.items() if "pair" in session["turns"][0]["customer"].lower()]
    assert len(SESSIONS) >= 30
    assert len(about_pairs) >= 15


@pytest.mark.parametrize("name", SESSIONS)
def test_a_session_states_something_for_every_turn(name: str) -> None:
    session = SESSIONS[name]
    assert set(session) == {"title", "teller", "turns"}
    for turn in session["turns"]:
        assert len(SAID & set(turn)) == 1
        assert set(turn) <= {"customer", *SAID}
        assert set(turn.get("set", ())) <= SET_PARTS


@pytest.mark.parametrize("name", SESSIONS)
def test_a_session_goes_as_written(name: str, counter: Counter, mind: Mind) -> None:
    for number, stated in enumerate(SESSIONS[name]["turns"], 1):
        turn = counter.say(stated["customer"])["turn"]
        at = f"turn {number}, {stated['customer']!r}"
        if "counter" in stated:
            asked = turn["question"] or {}
            assert (turn["kind"], asked.get("text")) == ("question", stated["counter"]), at
        elif "set" in stated:
            assert turn["kind"] == "recommendation", at
            _check_set(stated["set"], turn, mind.graph.arrangements, at)
        else:
            kind = "answer" if "answer_includes" in stated else "refusal"
            assert turn["kind"] == kind, at
            assert _missing(stated[f"{kind}_includes"], [turn["reply"]]) == [], at


def _check_set(stated: dict[str, Any], turn: dict[str, Any], arrangements: Mapping[str, Arrangement], at: str) -> None:
    found = turn["recommended"]
    latching = stated["latching"]
    assert _latching(turn["reply"], arrangements) == (latching if isinstance(latching, list) else [latching]), at
    assert [_line(line) for line in found["lines"]] == stated["lines"], at
    conditional = [f"{_line(line)}: {line['only_if']}" for line in found["lines"] if line["only_if"]]
    assert conditional == stated.get("only_if", []), at
    assert found["unmet"] == stated.get("unmet", []), at
    assert _missing(stated.get("assumed_include", []), found["assumed"]) == [], at
    assert _missing(stated.get("cautions_include", []), found["cautions"]) == [], at


def _line(line: dict[str, Any]) -> str:
    return f"{line['leaf']} {line['quantity']} {line['item']}"


def _latching(reply: str, arrangements: Mapping[str, Arrangement]) -> list[str]:
    """The arrangements whose title and reason the reply gives, by name."""
    return [name for name, part in sorted(arrangements.items()) if f": {part.title}. {part.because}" in reply]


def _missing(parts: list[str], texts: list[str]) -> list[str]:
    return [part for part in parts if not any(part in text for text in texts)]
