"""Conversations for the tests: in this process, or with the command line in a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from advisor.conversation.counter import Counter
from advisor.conversation.mind import Mind, build

ROOT = Path(__file__).resolve().parent.parent
COMMAND = (sys.executable, "-m", "advisor")


@cache
def mind() -> Mind:
    """The built-in mind, ready for its first turn."""
    made = build()
    made.warm_up()
    return made


class Talk:
    """One conversation in this process."""

    def __init__(self) -> None:
        self.counter = Counter(mind(), self._keep)
        self.messages: list[dict[str, Any]] = []
        self.turns: list[dict[str, Any]] = []
        self.events: list[dict[str, Any]] = []

    def _keep(self, events: list[dict[str, Any]]) -> None:
        self.events += events

    def say(self, *lines: str) -> dict[str, Any]:
        """The turn that answers the last of the lines."""
        for line in lines:
            self.messages.append(self.counter.say(line))
            self.turns.append(self.messages[-1]["turn"])
        return self.turns[-1]

    def until_asked(self, fact: str) -> dict[str, Any]:
        """The question about a fact, every other before it left open."""
        for _ in range(60):
            question: dict[str, Any] = self.turns[-1]["question"]
            assert question, f"{fact} was never asked: {self.turns[-1]['reply']}"
            if question["fact"] == fact:
                return question
            self.say("don't know")
        raise AssertionError(f"{fact} was not asked in 60 turns")

    def until_set(self, answer: str = "don't know") -> dict[str, Any]:
        """The set, every question before it answered alike."""
        for _ in range(60):
            if self.turns[-1]["kind"] == "recommendation":
                return self.turns[-1]
            assert self.turns[-1]["question"], self.turns[-1]["reply"]
            self.say(answer)
        raise AssertionError("no set after 60 answers")


def conversation() -> Iterator[Talk]:
    """A conversation, closed at the end."""
    talk = Talk()
    yield talk
    talk.counter.close()


def environment(state: Path, more: Mapping[str, str] | None = None) -> dict[str, str]:
    """The environment of a process whose state goes to a folder of the test's own."""
    kept = {name: value for name, value in os.environ.items() if name in ("PATH", "HOME", "LANG", "PYTHONPATH")}
    return {**kept, "XDG_STATE_HOME": str(state), **(more or {})}


def advisor(state: Path, *words: str, typed: bytes = b"", **more: str) -> subprocess.CompletedProcess[bytes]:
    """What the command line answers; `typed` is its standard input, `more` its further environment."""
    return subprocess.run(
        [*COMMAND, *words], input=typed, capture_output=True, env=environment(state, more), cwd=ROOT, timeout=60
    )
