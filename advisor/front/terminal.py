"""Showing turns in a terminal: as tables, or as plain text; and reading typed lines with editing and history."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import Any

PROMPT = "> "


def show_plain(message: dict[str, Any]) -> None:
    """The reply as plain text."""
    sys.stdout.write(message["turn"]["reply"] + "\n\n")
    sys.stdout.flush()


def show_rich(message: dict[str, Any]) -> None:
    """The reply with the set as a table."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False)
    for block in message["blocks"]:
        if block["title"]:
            console.print(Text(block["title"], style="bold"))
        if block["headings"]:
            table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
            for heading in block["headings"]:
                table.add_column(heading, overflow="fold")
            for row in block["rows"]:
                table.add_row(*(Text(cell) for cell in row))
            console.print(table)
            continue
        for line in block["lines"]:
            console.print(Text(f"  {line}" if block["title"] else line))
        console.print()


def typed_lines() -> Iterator[str]:
    """Lines typed at the terminal, with editing and history, until end of input."""
    from prompt_toolkit import PromptSession
    from prompt_toolkit.history import InMemoryHistory

    prompt: PromptSession[str] = PromptSession(history=InMemoryHistory())
    while True:
        try:
            yield prompt.prompt(PROMPT)
        except KeyboardInterrupt:
            continue
        except EOFError:
            return
