"""The chat in a terminal: a table, line editing and history; and plain text for pipes and screen readers."""

from __future__ import annotations

import os
import pty
import re
import select
import struct
import subprocess
import termios
import time
from collections.abc import Iterator
from fcntl import ioctl
from pathlib import Path

import pytest
from talking import COMMAND, ROOT, advisor, environment, mind

from advisor.conversation.counter import Counter

OPENING = "single hollow metal door 3070, 20 minutes, corridor, offices"
# box drawing and block elements
BOX = re.compile(r"[\u2500-\u259f]")
ESCAPES = re.compile(r"\x1b(?:\[[0-9;?]*[ -/]*[@-~]|\][^\x07]*\x07|[=>()][0-9A-Za-z]?)")
LEFT, UP, BACKSPACE, ENTER, END_OF_INPUT = b"\x1b[D", b"\x1b[A", b"\x7f", b"\r", b"\x04"


class Terminal:
    """A command in a pseudo-terminal of 100 columns and 50 lines."""

    def __init__(self, state: Path, *words: str) -> None:
        self._screen, inside = pty.openpty()
        ioctl(inside, termios.TIOCSWINSZ, struct.pack("HHHH", 50, 100, 0, 0))
        more = {"TERM": "xterm-256color", "PROMPT_TOOLKIT_NO_CPR": "1"}
        self.process = subprocess.Popen(
            [*COMMAND, *words], stdin=inside, stdout=inside, stderr=inside, env=environment(state, more), cwd=ROOT
        )
        os.close(inside)
        self.shown, self._raw, self._read = "", b"", 0

    def type(self, *keys: bytes) -> None:
        """Type keys."""
        for key in keys:
            os.write(self._screen, key)

    def read_until(self, words: str, seconds: float = 30) -> str:
        """What is shown from where the last reading ended up to some words, escape codes left away."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            fresh = ESCAPES.sub("", self.shown)[self._read :]
            if words and words in fresh:
                self._read += fresh.index(words) + len(words)
                return fresh
            if select.select([self._screen], [], [], 0.1)[0]:
                try:
                    self._raw += os.read(self._screen, 65536)
                except OSError:
                    break
                self.shown = self._raw.decode(errors="replace")
        assert words in ESCAPES.sub("", self.shown)[self._read :], self.shown
        return ESCAPES.sub("", self.shown)

    def close(self) -> int:
        """The exit code, once the command ended or was made to."""
        try:
            return self.process.wait(15)
        finally:
            self.process.kill()
            self.process.wait()
            os.close(self._screen)


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    opened = Terminal(tmp_path, "chat")
    yield opened
    if opened.process.poll() is None:
        opened.process.kill()
        opened.close()


def test_lines_are_edited_called_back_and_answered(terminal: Terminal) -> None:
    wording, asked = mind().book.wording, mind().book.questions["door_material"].text
    terminal.read_until(">")
    # "a pbir" mended: three to the left, the wrong letter taken back, the right one put in
    terminal.type(b"a pbirx", BACKSPACE, LEFT, LEFT, BACKSPACE, b"a", ENTER)
    terminal.read_until(asked)
    terminal.read_until(">")
    terminal.type(b"start over", ENTER)
    terminal.read_until(wording["started_over"][:30])
    terminal.read_until(">")
    # history: the line before the last
    terminal.type(UP, UP, ENTER)
    terminal.read_until(asked)
    terminal.read_until(">")
    terminal.type(b"quit", ENTER)
    terminal.read_until(wording["goodbye"])
    assert terminal.close() == 0


def test_the_end_of_input_ends_the_chat(terminal: Terminal) -> None:
    terminal.read_until(">")
    terminal.type(b"\x03")
    terminal.type(END_OF_INPUT)
    terminal.read_until("", 2)
    assert terminal.close() == 0
    assert "Traceback" not in terminal.shown


def test_a_set_is_shown_as_a_table(tmp_path: Path) -> None:
    opened = Terminal(tmp_path, "ask", "--no-log", OPENING)
    shown = opened.read_until(mind().book.wording["still_asks"])
    assert opened.close() == 0
    assert BOX.search(shown)
    headings = [mind().book.wording[f"column_{name}"] for name in ("leaf", "quantity", "item", "type", "size")]
    (row,) = [line for line in shown.splitlines() if all(heading in line for heading in headings)]
    assert [row.index(heading) for heading in headings] == sorted(row.index(heading) for heading in headings)
    assert max(len(line) for line in shown.splitlines()) <= 100
    assert "\x1b[1m" in opened.shown


def test_plain_shows_no_boxes_and_no_escape_codes_even_in_a_terminal(tmp_path: Path) -> None:
    opened = Terminal(tmp_path, "ask", "--plain", "--no-log", OPENING)
    shown = opened.read_until(mind().book.wording["still_asks"])
    assert opened.close() == 0
    assert BOX.findall(shown) == []
    assert "\x1b" not in opened.shown


def test_a_pipe_gets_plain_text_unasked(tmp_path: Path) -> None:
    asked = advisor(tmp_path, "ask", "--no-log", OPENING)
    assert (asked.returncode, asked.stderr) == (0, b"")
    counter = Counter(mind())
    text = counter.say(OPENING, one_shot=True)["turn"]["reply"]
    counter.close()
    assert asked.stdout.decode() == f"{text}\n\n"
    assert BOX.findall(text) == []
    assert "\x1b" not in text
    assert mind().book.wording["caution"] in text
