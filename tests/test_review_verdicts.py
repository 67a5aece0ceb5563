"""A reviewer walks through the sessions that matter; verdicts are kept and counted; a session becomes a case."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
import test_demo_sessions as demo
import yaml
from review_corpus import mind
from test_review_replay import run

from advisor.conversation.counter import Counter
from advisor.conversation.journal import Journal
from advisor.errors import JournalError
from advisor.review.gist import REASONS
from advisor.review.logs import VERDICTS, RawSession, raw_sessions, read_session
from advisor.review.prune import days_of
from advisor.review.replay import Replayed, Settings, replay
from advisor.review.verdicts import Verdict, agreement, as_case, beside, in_order, keep, read_verdicts, reasons

DAY = 86400
MONDAY = 1_772_409_600.0


def logged(folder: Path, name: str, *lines: str, stamp: float = MONDAY) -> Path:
    path = folder / name
    journal = Journal(path, lambda: stamp, mind().graph.fingerprint)
    counter = Counter(mind(), journal.append)
    for line in lines:
        counter.say(line)
    counter.close()
    journal.close()
    return path


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    folder = tmp_path / "logs"
    folder.mkdir()
    logged(folder, "a.jsonl", "a single hollow metal door, 3070, interior, unrated")
    logged(folder, "b.jsonl", "zzyzx frobnicate")
    logged(folder, "c.jsonl", "can I put a padlock on the exit door")
    return folder


def replays(folder: Path) -> list[Replayed]:
    return [
        replay(read_session(raw)[0], Settings())
        for raw in raw_sessions([str(path) for path in sorted(folder.glob("*.jsonl"))])
        if isinstance(raw, RawSession)
    ]


def test_sessions_are_shown_by_their_weightiest_reason(logs: Path) -> None:
    changed = (logs / "a.jsonl").read_text().replace('"fact": "door_material"', '"fact": "frame_material"')
    (logs / "d.jsonl").write_text(changed)
    assert [(one.name, reasons(one)[:1]) for one in in_order(replays(logs))] == [
        ("d.jsonl#1", ("changed",)),
        ("c.jsonl#1", ("refused",)),
        ("b.jsonl#1", ("not_understood",)),
    ]
    assert set(REASONS) >= {reason for one in replays(logs) for reason in reasons(one)}


def review(logs: Path, typed: str, *words: str) -> subprocess.CompletedProcess[str]:
    return run("review", str(logs), *words, stdin=typed)


def test_verdicts_are_typed_kept_beside_the_log_and_not_asked_again(logs: Path) -> None:
    shown = review(logs, "x\nw\na padlock is not what was asked\ns\n", "--reviewer", "owner")
    assert shown.returncode == 0, shown.stderr
    assert "1 of 2: c.jsonl#1, because: refused" in shown.stdout
    assert "customer: can I put a padlock on the exit door" in shown.stdout
    assert "Type r, w, i, s or q." in shown.stdout
    (verdict,) = read_verdicts(logs / VERDICTS)
    assert (verdict.session, verdict.verdict) == ("c.jsonl#1", "wrong")
    assert (verdict.remark, verdict.reviewer) == ("a padlock is not what was asked", "owner")
    assert "1 of 1: b.jsonl#1" in review(logs, "q\n").stdout
    assert "1 of 2: c.jsonl#1" in review(logs, "q\n", "--again").stdout
    assert len(read_verdicts(logs / VERDICTS)) == 1
    assert "1 verdicts, 0 right, 1 wrong, 0 incomplete, 0% right" in review(logs, "", "--agreement").stdout
    assert "There are no verdicts yet." in run("review", str(logs.parent), "--agreement").stdout


def verdict(session: str, word: str, day: float) -> Verdict:
    return Verdict(session, word, "", "", "abc", MONDAY + day * DAY)  # type: ignore[arg-type]


def test_agreement_is_counted_week_by_week() -> None:
    given = [
        verdict("a#1", "right", 0),
        verdict("b#1", "wrong", 1),
        verdict("a#1", "right", 8),
        verdict("b#1", "right", 9),
        verdict("c#1", "incomplete", 10),
    ]
    first, second = agreement(given[::-1])
    assert (first["week"], first["verdicts"], first["share_right"], first["second_opinions"]) == ("2026-W10", 2, 0.5, 0)
    assert (second["week"], second["right"], second["incomplete"]) == ("2026-W11", 2, 1)
    assert (second["second_opinions"], second["agreed"]) == (2, 1)


@pytest.mark.parametrize("line", ["rubbish", "[]", '{"session": "a"}', "{}"])
def test_a_line_that_is_no_verdict_is_told_with_file_and_line(tmp_path: Path, line: str) -> None:
    path = tmp_path / VERDICTS
    keep(path, verdict("a#1", "right", 0))
    path.write_text(path.read_text() + line + "\n")
    with pytest.raises(JournalError, match=r"verdicts.jsonl:2: This line is no verdict"):
        read_verdicts(path)


def test_another_word_is_no_verdict(tmp_path: Path) -> None:
    keep(tmp_path / VERDICTS, verdict("a#1", "splendid", 0))
    with pytest.raises(JournalError, match=r"verdicts.jsonl:1: A verdict is one of right, wrong, incomplete"):
        read_verdicts(tmp_path / VERDICTS)


def test_verdicts_lie_in_the_folder_of_the_log(tmp_path: Path) -> None:
    assert beside(str(tmp_path)) == tmp_path / VERDICTS
    assert beside(str(tmp_path / "a.jsonl")) == tmp_path / VERDICTS
    assert beside("-") == Path(VERDICTS)


def test_a_session_becomes_a_case_that_the_demo_sessions_runner_passes(tmp_path: Path) -> None:
    log = logged(
        tmp_path,
        "a.jsonl",
        "a pair of hollow metal doors, 90 minutes, school corridor, interior, 3070, new",
        "can I put a padlock on it",
        *["don't know"] * 12,
    )
    (raw,) = raw_sessions([str(log)])
    assert isinstance(raw, RawSession)
    session = read_session(raw)[0]
    answers = [turn.answer for turn in session.turns if turn.answer]
    text = as_case(session, answers, verdict("a.jsonl#1", "right", 0), mind().graph)
    assert text.startswith("# right\n")
    case = yaml.safe_load(text)
    stated = [set(turn) - {"customer"} for turn in case["turns"]]
    assert {"counter"} in stated
    assert {"set"} in stated
    counter = Counter(mind())
    said = {id(turn): counter.say(turn["customer"])["turn"] for turn in case["turns"]}
    counter.close()
    for number, turn in enumerate(case["turns"]):
        assert len(demo.SAID & set(turn)) == 1
        answer = said[id(turn)]
        if "counter" in turn:
            assert answer["question"]["text"] == turn["counter"]
        elif "set" in turn:
            demo._check_set(turn["set"], answer, mind().graph.arrangements, f"turn {number}")
    written = run("review", str(log), "--to-case", "a.jsonl#1", "--into", str(tmp_path / "case.yaml"))
    assert written.returncode == 0
    assert yaml.safe_load((tmp_path / "case.yaml").read_text())["turns"] == case["turns"]
    again = run("review", str(log), "--to-case", "a.jsonl#1", "--into", str(tmp_path / "case.yaml"))
    assert (again.returncode, "is there already" in again.stderr) == (2, True)
    assert run("review", str(log), "--to-case", "a.jsonl#2").returncode == 2


def test_old_logs_go_with_their_verdicts_and_young_ones_stay(tmp_path: Path) -> None:
    old = logged(tmp_path, "old.jsonl", "a door")
    young = logged(tmp_path, "young.jsonl", "a door", stamp=4_000_000_000.0)
    for name in ("old.jsonl#1", "young.jsonl#1"):
        keep(tmp_path / VERDICTS, verdict(name, "right", 0))
    listed = run("log", "prune", "--older-than", "90d", "--log", str(tmp_path), "--dry-run")
    assert listed.stdout == f"{old}\n"
    done = run("log", "prune", "--older-than", "90d", "--log", str(tmp_path))
    assert done.stdout == "1 logs taken away, and 1 verdicts on them\n"
    assert (old.exists(), young.exists()) == (False, True)
    assert [one.session for one in read_verdicts(tmp_path / VERDICTS)] == ["young.jsonl#1"]
    assert run("log", "prune", "--older-than", "soon", "--log", str(tmp_path)).returncode == 2


def test_an_age_is_a_number_and_a_unit() -> None:
    assert [days_of(age) for age in ("90d", "2w", " 1Y ", "d", "9", "-3d", "3 months")] == [90, 14, 365, *[None] * 4]
