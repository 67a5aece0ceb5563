"""Logs are read in every form they come in; what can not be read is told with file and line, the rest counts."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from advisor.errors import JournalError
from advisor.review.logs import PastSession, Problem, RawSession, find_files, raw_sessions, read_session, slots_of


def read(*paths: Path) -> tuple[list[PastSession], list[str]]:
    sessions, problems = [], []
    for entry in raw_sessions([str(path) for path in paths]):
        if isinstance(entry, Problem):
            problems.append(str(entry))
            continue
        assert isinstance(entry, RawSession)
        session, found = read_session(entry)
        sessions.append(session)
        problems += [str(problem) for problem in found]
    return sessions, problems


def said(session: PastSession) -> list[str]:
    return [turn.said for turn in session.turns]


def event(kind: str, **fields: object) -> str:
    return json.dumps({"event": kind, **fields, "timestamp": 1.0}) + "\n"


def exchange(text: str, number: int = 1) -> str:
    bot = {"turn": number, "kind": "question", "question": None, "recommended": None, "answer": None}
    return (
        event("user", text=text, metadata={"heard": []})
        + event("action", name="action_reply")
        + event("slot", name="turn", value=number)
        + event("bot", text="which?", metadata={**bot, "not_understood": []})
    )


HEAD = event("session_started", metadata={"advisor": "1", "knowledge": "abc"})
RESUMED = event("session_started", metadata={"advisor": "1", "knowledge": "def", "resumed": True})


def test_a_log_of_several_sessions_is_cut_at_their_heads(tmp_path: Path) -> None:
    log = tmp_path / "day.jsonl"
    log.write_text(HEAD + exchange("one") + exchange("two", 2) + HEAD + exchange("three"))
    sessions, problems = read(log)
    assert [(one.name, said(one)) for one in sessions] == [("day.jsonl#1", ["one", "two"]), ("day.jsonl#2", ["three"])]
    assert [one.place for one in sessions] == [f"{log}:1", f"{log}:10"]
    assert problems == []
    assert sessions[0].turns[0].answer is not None
    assert sessions[0].turns[0].answer["reply"] == "which?"


def test_a_customer_who_types_an_event_starts_no_session(tmp_path: Path) -> None:
    log = tmp_path / "day.jsonl"
    log.write_text(HEAD + exchange('{"event": "session_started"}'))
    sessions, problems = read(log)
    assert [said(one) for one in sessions] == [['{"event": "session_started"}']]
    assert problems == []


def test_a_torn_last_line_is_no_problem_and_its_turn_is_left_out(tmp_path: Path) -> None:
    log = tmp_path / "day.jsonl"
    log.write_text(HEAD + exchange("one") + exchange("two", 2)[:-40])
    sessions, problems = read(log)
    assert ([said(one) for one in sessions], problems) == ([["one"]], [])
    assert slots_of(log) == {"turn": 1}


def test_a_resumed_session_goes_on_where_it_was_torn(tmp_path: Path) -> None:
    log = tmp_path / "day.jsonl"
    log.write_text(HEAD + exchange("one") + exchange("two", 2)[:-40] + "\n" + RESUMED + exchange("again", 2))
    sessions, problems = read(log)
    assert ([said(one) for one in sessions], problems) == ([["one", "again"]], [])
    assert sessions[0].knowledge == ("abc", "def")


def test_a_line_that_is_no_event_is_told_and_the_rest_is_read(tmp_path: Path) -> None:
    log = tmp_path / "day.jsonl"
    log.write_text(HEAD + "rubbish\n" + exchange("one") + '{"event": "user"}\n[1]\n' + exchange("two", 2))
    sessions, problems = read(log)
    assert [said(one) for one in sessions] == [["one", "two"]]
    assert problems == [f"{log}:{line}: This line is no event and is left out." for line in (2, 7, 8)]


def test_a_transcript_is_read_by_its_speakers(tmp_path: Path) -> None:
    log = tmp_path / "talk.txt"
    log.write_text(
        "# Tuesday\nCustomer: a pair of doors\n  ninety minutes\ncounter: wood?\n\ncustomer: yes\n---\n"
        "customer: single\nwho knows\nCOUNTER: fine\n  go on\n"
    )
    sessions, problems = read(log)
    assert [said(one) for one in sessions] == [["a pair of doors ninety minutes", "yes"], ["single"]]
    assert problems == [f"{log}:9: A line of a transcript begins with 'customer:' or 'counter:'."]
    assert all(turn.answer is None for one in sessions for turn in one.turns)


def test_a_csv_of_questions_is_read_by_its_header(tmp_path: Path) -> None:
    log = tmp_path / "asked.csv"
    log.write_text('id,Question,session\n1,"a pair, wood",\n2,,\n3,"two\nlines",a\n4,then this,a\n5,alone,b\n')
    sessions, problems = read(log)
    assert [said(one) for one in sessions] == [["a pair, wood"], ["two lines", "then this"], ["alone"]]
    assert problems == [f"{log}:3: The column 'question' is empty here."]
    assert [one.place for one in sessions] == [f"{log}:2", f"{log}:4", f"{log}:7"]


def test_a_jsonl_of_questions_takes_texts_lists_and_objects(tmp_path: Path) -> None:
    log = tmp_path / "asked.jsonl"
    log.write_text(
        '"a pair"\n["one", "two"]\n{"text": "wood", "session": 7}\n{"text": "oak", "session": 7}\n{"x": 1}\n{\n'
    )
    sessions, problems = read(log)
    assert [said(one) for one in sessions] == [["a pair"], ["one", "two"], ["wood", "oak"]]
    assert [problem.split(": ")[0] for problem in problems] == [f"{log}:5", f"{log}:6"]
    assert "an object with one of question, text," in problems[0]
    assert "This is no JSON" in problems[1]


def test_what_is_no_log_is_told_with_what_one_begins_with_and_the_next_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("\nDear sir\n")
    (tmp_path / "b.txt").write_text("customer: a door\n")
    sessions, problems = read(tmp_path / "a.txt", tmp_path / "b.txt")
    assert [said(one) for one in sessions] == [["a door"]]
    assert len(problems) == 1
    assert problems[0].startswith(f"{tmp_path / 'a.txt'}:2: This is no log that can be read: it should begin with")


def test_bytes_that_are_no_text_cost_only_their_line(tmp_path: Path) -> None:
    log = tmp_path / "talk.txt"
    log.write_bytes(b"customer: one\ncustomer: \xff\xfe\ncustomer: two\n")
    sessions, problems = read(log)
    assert [said(one) for one in sessions] == [["one", "two"]]
    assert problems == [f"{log}:2: The line is not UTF-8 and is left out."]


@pytest.mark.parametrize("content", [b"", b"\n\n", b"\xff\n", b"\x00\x01", b"{", b"[]\n", b'"'])
def test_no_file_is_too_odd_to_be_read(tmp_path: Path, content: bytes) -> None:
    log = tmp_path / "odd.jsonl"
    log.write_bytes(content)
    sessions, _ = read(log)
    assert [turn for one in sessions for turn in one.turns] == []


def test_folders_patterns_and_files_lead_to_each_file_once(tmp_path: Path) -> None:
    for name in ("a.jsonl", "b.txt", "c.csv", "verdicts.jsonl", "d.pdf", "deep/e.log"):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text("customer: x\n")
    files, problems = find_files([str(tmp_path), str(tmp_path / "*.txt"), str(tmp_path / "d.pdf"), "-"])
    assert [Path(file).name for file in files] == ["a.jsonl", "b.txt", "c.csv", "e.log", "d.pdf", "-"]
    assert problems == []
    _, problems = find_files([str(tmp_path / "none"), str(tmp_path / "*.x")])
    assert [problem.place for problem in problems] == [str(tmp_path / "none"), str(tmp_path / "*.x")]


def test_standard_input_is_a_log_like_any_other(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"customer: a door\n")))
    entries = list(raw_sessions(["-"]))
    assert [entry.name for entry in entries if isinstance(entry, RawSession)] == ["-#1"]


def test_only_a_log_of_the_advisors_can_be_resumed(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("customer: x\n")
    (tmp_path / "b.txt").write_text("")
    for path in (tmp_path / "a.txt", tmp_path / "b.txt", tmp_path / "none"):
        with pytest.raises(JournalError, match=r"can.t be read|no log of a session"):
            slots_of(path)
