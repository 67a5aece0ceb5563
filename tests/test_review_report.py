"""The report counts what is in the logs, and its page needs nothing beside it. The demo week shows it."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from review_corpus import mind
from test_review_replay import run
from write_week import WEEK, write

from advisor.conversation.privacy import masker_of
from advisor.review import page as pages
from advisor.review.logs import RawSession, raw_sessions, read_session
from advisor.review.page import PlotsMissing, page
from advisor.yaml_files import data_folder, read

LINES = read(WEEK / "lines.yaml")
SESSIONS = [session for day in LINES.values() for session in day]


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo week said to today's advisor."""
    folder = tmp_path_factory.mktemp("week")
    write(folder)
    return folder


@pytest.fixture(scope="module")
def counted(week: Path) -> dict[str, object]:
    found = run("report", str(week), "--json", "--html", str(week / "page.html"), "--jobs", "1")
    assert found.returncode == 0, found.stderr
    data: dict[str, object] = json.loads(found.stdout)
    return data


def test_the_week_replays_without_a_difference(week: Path) -> None:
    found = run("replay", str(week), "--jobs", "1")
    assert found.returncode == 0
    turns = sum(len(session["lines"]) for session in SESSIONS)
    assert f"{len(SESSIONS)} sessions, {turns} turns, {turns} of them with an answer on record" in found.stdout
    assert "Nothing changed." in found.stdout


def test_the_counts_are_those_of_the_logs(week: Path, counted: dict[str, object]) -> None:
    sessions = [
        read_session(raw)[0]
        for raw in raw_sessions([str(path) for path in sorted(week.glob("*.jsonl"))])
        if isinstance(raw, RawSession)
    ]
    answers = [turn.answer for session in sessions for turn in session.turns if turn.answer]
    kinds = [answer["kind"] for answer in answers]
    assert counted["answers"] == {kind: kinds.count(kind) for kind in counted["answers"]}
    assert sum(counted["answers"].values()) == len(answers)
    asked = [answer["question"]["fact"] for answer in answers if answer["question"]]
    assert counted["questions"] == {fact: asked.count(fact) for fact in counted["questions"]}
    assert sum(int(n) * times for n, times in counted["questions_per_session"].items()) == len(asked)
    items = [
        {
            line["item"]
            for turn in session.turns
            if turn.answer["recommended"]
            for line in turn.answer["recommended"]["lines"]
        }
        for session in sessions
    ]
    assert counted["items"] == {item: sum(item in found for found in items) for item in counted["items"]}
    last = [
        [turn.answer["recommended"] for turn in session.turns if turn.answer["recommended"]][-1:]
        for session in sessions
    ]
    assert sum(counted["lines_by_strength"].values()) == sum(len(found["lines"]) for sets in last for found in sets)
    words = [word.lower() for answer in answers for word in answer["not_understood"]]
    assert counted["not_understood"] == {word: words.count(word) for word in counted["not_understood"]}
    assert counted["sessions_by_day"] == {f"2026-03-0{day}": 4 for day in range(2, 7)}
    assert list(counted["not_understood"].values()) == sorted(counted["not_understood"].values(), reverse=True)


def test_nothing_personal_is_in_the_weeks_log(week: Path) -> None:
    masker = masker_of(mind().book)
    hidden = []
    for line in (line for session in SESSIONS for line in session["lines"]):
        hidden += [line[mask.start : mask.end] for mask in masker.mask(line).masks]
    assert len(hidden) >= 5
    for folder in (week, WEEK):
        logs = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.jsonl"))
        assert [part for part in hidden if part in logs] == []


def test_the_log_in_the_repository_is_of_these_lines() -> None:
    said = [
        [turn.said for turn in read_session(raw)[0].turns]
        for raw in raw_sessions([str(path) for path in sorted(WEEK.glob("*.jsonl"))])
        if isinstance(raw, RawSession)
    ]
    masker = masker_of(mind().book)
    assert said == [[masker.mask(line).text for line in session["lines"]] for session in SESSIONS]


class Outside(HTMLParser):
    """Everything a page would load, and whether its tags are balanced."""

    def __init__(self) -> None:
        super().__init__()
        self.loads: list[str] = []
        self.plots = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.plots += tag == "svg"
        assert tag not in ("script", "link", "img", "iframe", "object")
        self.loads += [str(value) for key, value in attrs if key in ("src", "href", "xlink:href") and value]


def test_the_page_needs_nothing_beside_it(week: Path, counted: dict[str, object]) -> None:
    text = (week / "page.html").read_text(encoding="utf-8")
    parser = Outside()
    parser.feed(text)
    assert [load for load in parser.loads if not load.startswith("#")] == []
    assert parser.plots >= 10
    assert "url(http" not in text
    assert "@import" not in text
    for session in (counted["slowest_turns"] or [])[:1]:
        assert session["session"] in text
    assert len(text) < 400_000


def words() -> dict[str, str]:
    return read(data_folder("dialogues") / "wording" / "review.yaml")


def test_the_page_is_the_same_each_time_and_escapes_what_customers_typed(counted: dict[str, object]) -> None:
    odd = {**counted, "not_understood": {"<script>x</script>": 2, "a&b": 1, "$x_1$": 1}, "changed_sessions": ["<b>#1"]}
    first, second = (page(odd, [], words(), "abc") for _ in range(2))
    assert first == second
    assert "<script>" not in first
    assert "<b>#1" not in first
    empty = {key: type(value)() if isinstance(value, dict | list) else value for key, value in counted.items()}
    empty["changes"] = counted["changes"]
    assert words()["review_page_empty"] in page(empty, [], words(), "abc")


def test_without_the_plotting_library_the_page_is_refused(
    monkeypatch: pytest.MonkeyPatch, counted: dict[str, object]
) -> None:
    def missing(name: str) -> None:
        raise ImportError(name)

    monkeypatch.setattr(pages, "import_module", missing)
    with pytest.raises(PlotsMissing):
        page(counted, [], words(), "abc")


def test_every_wording_of_the_review_is_used() -> None:
    package = Path(pages.__file__).parents[1]
    code = "".join(path.read_text() for path in [*package.glob("review/*.py"), package / "front" / "reviewing.py"])
    prefixes = tuple(re.findall(r"""f["'](review_[a-z_]+)\{""", code))
    quoted = re.findall(r"""["'](review_[a-z_]+)["']""", code)
    assert [key for key in words() if key not in quoted and not key.startswith(prefixes)] == []
