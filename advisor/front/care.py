"""The command line for doors that hang: troubles, the yearly inspection, and what may be done."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.errors import AdvisorError
from advisor.front.common import AsJson, Over, refuse, write_answer

if TYPE_CHECKING:
    from advisor.conversation.care import CareAnswer, CareTalk
    from advisor.conversation.mind import Mind

Words = Annotated[list[str], typer.Argument(help="The matter, in your own words.")]


def add_to(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    for command in (trouble, inspect, may):
        app.command()(command)


def trouble(words: Words, knowledge: Over = None, dialogues: Over = None, as_json: AsJson = False) -> None:
    """Say what is likely wrong with a door and what mends it; exit code 1 when the trouble is not known."""
    _tell(words, knowledge, dialogues, as_json, troubles=True)


def may(words: Words, knowledge: Over = None, dialogues: Over = None, as_json: AsJson = False) -> None:
    """Say whether something may be done to a door, why, and what to do instead; exit code 1 when it is not known."""
    _tell(words, knowledge, dialogues, as_json, troubles=False)


def inspect(knowledge: Over = None, dialogues: Over = None, as_json: AsJson = False) -> None:
    """Print the checklist of the yearly fire door inspection."""
    _, talk = _talk(knowledge, dialogues)
    blocks, data = talk.inspection()
    write_answer(data, blocks, as_json)


def _tell(
    words: Sequence[str], knowledge: list[Path] | None, dialogues: list[Path] | None, as_json: bool, troubles: bool
) -> None:
    from advisor.conversation.note import note
    from advisor.conversation.session import Session
    from advisor.conversation.turn import Block

    mind, talk = _talk(knowledge, dialogues)
    text = " ".join(words)
    hearing = mind.listener.hear(text)
    session, _ = note(Session(), hearing.heard, mind.graph)
    tell = talk.trouble_told if troubles else talk.asked
    found: CareAnswer | None = tell(text, hearing, session.sheet)
    if found is None:
        line = talk.say("care_no_trouble" if troubles else "care_no_question")
        write_answer({"version": 1, "kind": "not_understood", "reply": line}, (Block(lines=(line,)),), as_json)
        raise typer.Exit(1)
    data = {
        "version": 1,
        "kind": found.kind,
        "about": found.about,
        "value": found.value,
        "sources": list(found.sources),
    }
    write_answer(data, (*found.blocks, Block(lines=(talk.say("caution"),))), as_json)


def _talk(knowledge: list[Path] | None, dialogues: list[Path] | None) -> tuple[Mind, CareTalk]:
    from advisor.conversation.care import CareTalk
    from advisor.conversation.mind import build
    from advisor.conversation.speak import Speaker

    try:
        mind = build(knowledge or (), dialogues or ())
        _ = mind.care
    except AdvisorError as problem:
        refuse(problem, 1)
    return mind, CareTalk(mind, Speaker(mind))
