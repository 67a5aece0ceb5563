"""What every command shares: its options, the mind it asks, and how it writes and refuses."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

if TYPE_CHECKING:
    from advisor.conversation.turn import Block

Over = Annotated[
    list[Path] | None, typer.Option(help="A folder laid over the built-in one; may be given more than once.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Machine-readable.")]


def write(text: str) -> None:
    """A line, or several, on standard output."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def write_answer(data: dict[str, Any], blocks: Sequence[Block], as_json: bool) -> None:
    """An answer as one JSON object or as plain text."""
    from advisor.conversation.turn import plain

    write(json.dumps(data, ensure_ascii=False) if as_json else plain(blocks))


def refuse(problem: object, code: int) -> NoReturn:
    """Say what is wrong on standard error and stop with an exit code: 1 for wrong files, 2 for wrong use."""
    typer.echo(str(problem), err=True)
    raise typer.Exit(code) from None
