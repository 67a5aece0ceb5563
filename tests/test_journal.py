"""A session's log: where it lies, who may read it, what is in it, and what happens when it can't be written."""

from __future__ import annotations

import json
import os
import stat
import subprocess
from pathlib import Path
from typing import Any

import pytest
from talking import COMMAND, ROOT, advisor, environment, mind

from advisor.conversation.counter import Counter
from advisor.conversation.journal import Journal
from advisor.errors import JournalError

LINES = ("a pair of hollow metal doors", "90 minutes", "20 minutes", "the first", "why?", "don't know", "undo", "quit")
TYPED = "\n".join((*LINES, "")).encode()


def logs(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.jsonl"))


def events(log: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]


def test_the_log_is_on_by_default_and_only_its_owner_reads_it(tmp_path: Path) -> None:
    done = advisor(tmp_path, "chat", "--plain", typed=TYPED)
    assert (done.returncode, done.stderr) == (0, b"")
    (log,) = logs(tmp_path)
    assert log.parent == tmp_path / "door-hardware-advisor"
    assert stat.S_IMODE(log.stat().st_mode) == 0o600
    assert stat.S_IMODE(log.parent.stat().st_mode) == 0o700
    assert_complete(events(log))


def assert_complete(found: list[dict[str, Any]]) -> None:
    """The header, then for each line the user's, the action's, the slots' and the bot's events, as rasa-sdk writes."""
    header = found[0]
    assert header["event"] == "session_started"
    assert header["metadata"] == {"advisor": "0.1.0", "knowledge": mind().graph.fingerprint}
    assert [event["text"] for event in found if event["event"] == "user"] == list(LINES)
    assert all(isinstance(event["timestamp"], float) for event in found)
    shapes = {
        "user": {"event", "text", "metadata", "timestamp"},
        "action": {"event", "name", "timestamp"},
        "slot": {"event", "name", "value", "timestamp"},
        "bot": {"event", "text", "metadata", "timestamp"},
    }
    for event in found[1:]:
        assert set(event) == shapes[event["event"]], event
    order = "".join(event["event"][0] for event in found[1:])
    assert order.replace("s", "") == "uab" * len(LINES)
    bots = [event for event in found if event["event"] == "bot"]
    assert [bot["metadata"]["turn"] for bot in bots] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert bots[2]["metadata"]["question"]["fact"] == "fire_rating_minutes"
    heard = [event["metadata"]["heard"] for event in found if event["event"] == "user"]
    assert ("fire_rating_minutes", 90) in [(each["fact"], each["value"]) for each in heard[1]]


def test_no_log_keeps_none_and_log_names_the_folder(tmp_path: Path) -> None:
    kept = tmp_path / "kept" / "here"
    state = tmp_path / "state"
    assert advisor(state, "chat", "--plain", "--no-log", typed=b"a pair\n").returncode == 0
    assert logs(tmp_path) == []
    assert advisor(state, "ask", "--plain", "--log", str(kept), "a pair").returncode == 0
    assert [log.parent for log in logs(tmp_path)] == [kept]


def test_two_runs_of_the_same_words_differ_only_in_time(tmp_path: Path) -> None:
    for number, seed in enumerate("12"):
        done = advisor(tmp_path, "chat", "--json", "--log", str(tmp_path / seed), typed=TYPED, PYTHONHASHSEED=seed)
        assert done.returncode == 0, number
    one, other = (events(log) for log in logs(tmp_path))
    stamps = [{event.pop("timestamp") for event in found} for found in (one, other)]
    assert one == other
    assert stamps[0] != stamps[1]


def test_a_killed_process_leaves_every_finished_turn_readable(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [*COMMAND, "chat", "--json"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env=environment(tmp_path),
        cwd=ROOT,
    )
    assert process.stdin
    assert process.stdout
    try:
        for line in LINES[:4]:
            process.stdin.write(f"{line}\n".encode())
            process.stdin.flush()
            assert json.loads(process.stdout.readline())["version"] == 1
        process.stdin.write(b"a line that is never fin")
        process.stdin.flush()
        process.kill()
    finally:
        process.kill()
        process.wait()
        process.stdin.close()
        process.stdout.close()
    (log,) = logs(tmp_path)
    found = events(log)
    assert [event["text"] for event in found if event["event"] == "user"] == list(LINES[:4])
    assert found[-1]["event"] == "bot"


def unwritable(tmp_path: Path) -> Path:
    """A place no folder can be made in, even by the superuser: below a file."""
    (tmp_path / "file").write_text("not a folder", encoding="utf-8")
    return tmp_path / "file" / "logs"


def test_a_folder_that_cannot_be_written_is_told_and_the_conversation_goes_on(tmp_path: Path) -> None:
    done = advisor(tmp_path, "chat", "--plain", "--log", str(unwritable(tmp_path)), typed=TYPED)
    assert done.returncode == 0
    assert done.stdout.decode().rstrip().endswith(mind().book.wording["goodbye"])
    assert b"the log can't be written" in done.stderr
    assert done.stderr.count(b"\n") == 1
    assert b"Traceback" not in done.stderr


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser writes to read-only folders")
def test_a_read_only_folder_is_told_and_the_conversation_goes_on(tmp_path: Path) -> None:
    folder = tmp_path / "kept"
    folder.mkdir(mode=0o500)
    done = advisor(tmp_path, "chat", "--plain", "--log", str(folder), typed=TYPED)
    assert (done.returncode, done.stderr.count(b"\n")) == (0, 1)
    assert b"the log can't be written" in done.stderr


def test_a_disk_that_fills_is_told_once_and_what_was_written_stays_readable(tmp_path: Path) -> None:
    """The size of files is limited, as a full disk would, to what the first turns need."""
    command = "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
    command += "resource.setrlimit(resource.RLIMIT_FSIZE, (6000, 6000)); "
    command += "import sys; sys.argv = ['advisor', 'chat', '--plain']; from advisor.__main__ import main; main()"
    done = subprocess.run(
        [COMMAND[0], "-c", command], input=TYPED, capture_output=True, env=environment(tmp_path), cwd=ROOT, timeout=60
    )
    assert done.returncode == 0
    assert done.stdout.decode().rstrip().endswith(mind().book.wording["goodbye"])
    assert done.stderr.count(b"the log can't be written") == done.stderr.count(b"\n") == 1
    (log,) = logs(tmp_path)
    found = events(log)
    assert found[-1]["event"] == "bot"
    assert 0 < sum(event["event"] == "bot" for event in found) < len(LINES)


def test_a_full_disk_is_an_error_of_the_log_alone() -> None:
    with pytest.raises(JournalError, match=r"/dev/full: the log can't be written: No space left on device\."):
        Journal(Path("/dev/full"), lambda: 0.0, "print")


def test_the_clock_comes_in_at_the_door(tmp_path: Path) -> None:
    ticks = iter(range(100))
    journal = Journal(tmp_path / "log.jsonl", lambda: float(next(ticks)), "print")
    counter = Counter(mind(), journal.append)
    for line in LINES[:3]:
        counter.say(line)
    counter.close()
    journal.close()
    found = events(tmp_path / "log.jsonl")
    assert [event["timestamp"] for event in found if event["event"] in ("session_started", "bot")] == [
        0.0,
        1.0,
        2.0,
        3.0,
    ]
