"""Whatever kills the process, at most the turn being made is lost; no disk that is full stops a conversation."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from killed import LINES
from review_corpus import mind

from advisor.conversation.counter import Counter
from advisor.conversation.journal import Journal
from advisor.errors import JournalError
from advisor.review.logs import PastSession, RawSession, raw_sessions, read_session, slots_of

ROOT = Path(__file__).parents[1]
ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])}
KILLS = 200


def sessions_of(log: Path) -> tuple[list[PastSession], list[object]]:
    read = [read_session(one) for one in raw_sessions([str(log)]) if isinstance(one, RawSession)]
    problems = [one for one in raw_sessions([str(log)]) if not isinstance(one, RawSession)]
    return [session for session, _ in read], [*problems, *(found for _, each in read for found in each)]


def turns_of(log: Path) -> list[tuple[str, Any]]:
    return [(turn.said, turn.answer) for session in sessions_of(log)[0] for turn in session.turns]


def went_on(log: Path, line: str) -> dict[str, Any]:
    """The answer to the next line of the conversation a log holds, resumed."""
    counter = Counter(mind(), slots=slots_of(log))
    answer: dict[str, Any] = counter.say(line)["turn"]
    counter.close()
    return answer


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The log of the whole conversation."""
    log = tmp_path_factory.mktemp("whole") / "whole.jsonl"
    journal = Journal(log, lambda: 1.0, mind().graph.fingerprint)
    counter = Counter(mind(), journal.append)
    for line in LINES:
        counter.say(line)
    counter.close()
    journal.close()
    return log


def test_two_hundred_kills_lose_at_most_the_turn_being_made(tmp_path: Path, whole: Path) -> None:
    command = [sys.executable, str(ROOT / "tests" / "killed.py"), str(tmp_path), "6", str(KILLS)]
    done = subprocess.run(command, capture_output=True, text=True, env=ENVIRONMENT, check=True, timeout=300)
    records = [json.loads(line) for line in done.stdout.splitlines()]
    expected = turns_of(whole)
    following = [answer for _, answer in expected]
    found = []
    for record in records:
        log = tmp_path / record["log"]
        if not log.exists():
            assert record["told"] == 0
            found.append(0)
            continue
        _, problems = sessions_of(log)
        turns = turns_of(log)
        assert problems == []
        assert turns == expected[: len(turns)]
        # what was told is written; what was being written may be there already
        assert record["told"] <= len(turns) <= record["told"] + 1
        found.append(len(turns))
    assert len(found) == KILLS
    assert len(set(found)) > len(LINES) // 2
    for stopped in sorted(set(found) - {0, len(LINES)}):
        log = tmp_path / records[found.index(stopped)]["log"]
        assert went_on(log, LINES[stopped])["reply"] == following[stopped]["reply"]


def test_a_log_torn_at_any_byte_is_readable_and_can_be_resumed(tmp_path: Path, whole: Path) -> None:
    content, expected = whole.read_bytes(), turns_of(whole)
    torn = tmp_path / "torn.jsonl"
    for length in range(0, len(content), max(1, len(content) // 400)):
        torn.write_bytes(content[:length])
        sessions, _ = sessions_of(torn)
        turns = turns_of(torn)
        assert turns == expected[: len(turns)]
        assert len(turns) >= content[:length].count(b'{"event": "bot"') - 1
        if sessions:
            assert slots_of(torn).get("turn", 0) == len(turns)


def test_the_command_resumes_a_torn_log_in_the_same_file(tmp_path: Path, whole: Path) -> None:
    log = tmp_path / "day.jsonl"
    log.write_bytes(whole.read_bytes()[:-200])
    before = turns_of(log)
    assert len(before) == len(LINES) - 1
    command = [sys.executable, "-m", "advisor", "chat", "--json", "--resume", str(log)]
    done = subprocess.run(command, input=f"{LINES[-1]}\n", capture_output=True, text=True, env=ENVIRONMENT, timeout=60)
    assert done.returncode == 0, done.stderr
    assert turns_of(log)[:-1] == before
    assert turns_of(log) == turns_of(whole)
    assert sessions_of(log)[1] == []


def test_a_turn_that_does_not_fit_on_the_disk_is_cut_off_and_the_log_stays_readable(tmp_path: Path) -> None:
    log = tmp_path / "full.jsonl"
    journal = Journal(log, lambda: 1.0, "abc")
    turn = [
        {"event": "user", "text": "x" * 500, "metadata": {"heard": []}},
        {"event": "bot", "text": "y", "metadata": {}},
    ]
    journal.append(turn)
    size = log.stat().st_size
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 100, limits[1]))
    try:
        with pytest.raises(JournalError, match=r"full.jsonl: the log can't be written: File too large"):
            journal.append(turn)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert log.stat().st_size == size
    assert [said for said, _ in turns_of(log)] == ["x" * 500]


def test_a_full_disk_and_a_folder_that_can_not_be_written_stop_no_conversation(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    command = [sys.executable, "-m", "advisor", "chat", "--json", "--log"]
    limited = ["bash", "-c", 'ulimit -f 1; exec "$@"', "bash"]
    lines = "a pair of hollow metal doors, 90 minutes, school corridor\nwhy?\n"
    for words, problem in (
        ([*command, str(blocked / "logs")], "the log can't be written: Not a directory."),
        ([*limited, *command, str(tmp_path / "logs")], "the log can't be written: File too large."),
    ):
        done = subprocess.run(words, input=lines, capture_output=True, text=True, env=ENVIRONMENT, timeout=60)
        assert done.returncode == 0
        assert [json.loads(line)["turn"] for line in done.stdout.splitlines()] == [1, 2]
        assert done.stderr.count(problem) == 1
