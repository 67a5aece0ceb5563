"""Several openings in one conversation, sessions gone on with by name, ordering details, and the write-up."""

from __future__ import annotations

import re
import subprocess
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from talking import COMMAND, environment

from advisor.conversation.counter import Counter
from advisor.front.documents import as_html, as_markdown, as_text

PAIR = "pair of 3070s, wood, 90 minutes, hospital corridor, new doors, S label, one leaf is enough to get out, cat A"


def say(counter: Counter, *lines: str) -> dict[str, Any]:
    turn: dict[str, Any] = {}
    for line in lines:
        turn = counter.say(line)["turn"]
    return turn


def test_a_second_opening_in_one_message_waits_and_is_gone_on_to(counter: Counter) -> None:
    first = say(
        counter, "one pair of 3070s wood 45 min in an office building, and one single 3070 hollow metal, not rated"
    )

    assert "Opening 2 waits" in first["reply"]
    assert first["facts"]["leaves"] == "pair"

    second = say(counter, "next")

    assert second["facts"]["leaves"] == "single"
    assert second["facts"]["door_material"] == "hollow_metal"
    assert second["facts"]["fire_rating_minutes"] == 0
    assert second["facts"]["occupancy"] == "business", "the building's use goes for each of its openings"

    assert say(counter, "next")["facts"]["leaves"] == "pair"


def test_an_opening_is_copied_and_changed(counter: Counter) -> None:
    say(counter, "pair of 3070s, wood, 45 minutes, office corridor")
    copy = say(counter, "same but hollow metal")

    assert copy["facts"]["door_material"] == "hollow_metal"
    assert copy["facts"]["fire_rating_minutes"] == 45
    assert say(counter, "next")["facts"]["door_material"] == "wood"


def test_with_one_opening_there_is_no_next(counter: Counter) -> None:
    say(counter, "single wood door")

    assert "No other opening" in say(counter, "next")["reply"]


def settled(counter: Counter, *lines: str) -> dict[str, Any]:
    """The first turn that gives a set, "don't know" being said to every question on the way."""
    turn = say(counter, *lines)
    for _ in range(25):
        if turn["kind"] == "recommendation":
            return turn
        turn = say(counter, "don't know")
    raise AssertionError(turn["reply"])


def test_ordering_details_are_asked_only_when_a_list_to_order_from_is_wanted(counter: Counter) -> None:
    turn = settled(counter, PAIR)

    assert turn["question"] is None

    asked = []
    turn = say(counter, "I want to order")
    while turn["kind"] == "question":
        asked.append(turn["question"]["fact"])
        answers = {"hand": "left hand", "finish": "26D", "keying": "keyed alike", "lock_function": "passage"}
        turn = say(counter, answers[asked[-1]])

    assert asked == [fact for fact in ("hand", "lock_function", "finish", "keying") if fact in asked]
    assert {"hand", "finish", "keying"} <= set(asked)
    by_item = {line["item"]: line for line in turn["recommended"]["lines"]}
    assert by_item["lockset_bored"]["hand"] == "left hand (LH)"
    assert by_item["lockset_bored"]["finish"].startswith("626")


def test_the_finish_of_steel_hinges_is_translated(counter: Counter) -> None:
    """626 is on brass, 652 its match on steel: ANSI/BHMA A156.18 codes, as two trade articles give them."""
    turn = settled(counter, PAIR + ", finish 26D")
    hinges = next(line for line in turn["recommended"]["lines"] if line["item"].startswith("hinge_"))

    assert hinges["finish"].startswith("652")


def test_what_needs_no_label_on_a_fire_door_is_not_called_listed(counter: Counter) -> None:
    """Steel bearing hinges and plates in the bottom 16 in go unlabelled: NFPA 80 6.4, as trade articles report it."""
    lines = settled(counter, PAIR)["recommended"]["lines"]
    types = {line["item"]: line["type"] for line in lines}

    assert all("listed" not in kind for item, kind in types.items() if item.startswith(("hinge", "kick_plate")))
    assert "listed for fire doors" in types["lockset_bored"]


def run(folder: Path, *words: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *words],
        input=typed,
        capture_output=True,
        text=True,
        env=environment(folder),
        check=False,
    )


def test_a_session_is_gone_on_with_by_its_name_after_the_program_was_closed(tmp_path: Path) -> None:
    run(tmp_path, "chat", "--plain", "--session", "mill street", typed="pair of 3070s, wood\n90 minutes\n")
    again = run(tmp_path, "chat", "--plain", "--session", "mill street", typed="so far\n")

    assert again.returncode == 0
    assert "90 minutes" in again.stdout
    assert "pair" in again.stdout


def test_a_name_that_leads_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    refused = run(tmp_path, "chat", "--session", "../../elsewhere", typed="hello\n")

    assert refused.returncode == 2
    assert "no name for a session" in refused.stderr


def test_a_session_is_written_up(tmp_path: Path) -> None:
    run(tmp_path, "chat", "--plain", "--session", "ward", typed=f"{PAIR}\n")
    page = tmp_path / "ward.html"
    written = run(tmp_path, "write-up", "--session", "ward", "--format", "html", "--output", str(page))

    assert written.returncode == 0, written.stderr
    text = page.read_text()
    assert "automatic flush bolts" in text or "constant-latching" in text
    assert "authority having jurisdiction" in text
    assert "http" not in re.sub(r"<!doctype html>", "", text), "nothing is loaded from elsewhere"


def test_a_write_up_of_an_unknown_session_or_format_is_refused(tmp_path: Path) -> None:
    assert run(tmp_path, "write-up", "--session", "nobody").returncode == 2
    assert run(tmp_path, "write-up", "--format", "scroll", "a door").returncode == 2


class Balanced(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.seen.append(tag)
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_three_forms_hold_the_same_set(counter: Counter) -> None:
    settled(counter, PAIR)
    blocks = counter.say("write it up")["blocks"]
    text, markdown, html = as_text(blocks), as_markdown(blocks), as_html(blocks)
    parser = Balanced()
    parser.feed(html)

    assert parser.open == []
    assert parser.seen.count("tr") == 1 + len(next(block for block in blocks if block["headings"])["rows"])
    for words in ("bar coordinator under the head stop", "Preparation", "13/16"):
        assert words in text
        assert words in markdown
        assert words in html
    assert "more; ask" not in text, "a write-up keeps no caution back"


def test_markup_in_a_customers_words_stays_text(counter: Counter) -> None:
    blocks = [
        {"title": "Hardware <b>", "lines": ("a | b *c* <script>",), "headings": (), "rows": ()},
        {"title": "", "lines": (), "headings": ("item",), "rows": (("x | <i>",),)},
    ]

    assert "<script>" not in as_html(blocks)
    assert "<i>" not in as_html(blocks)
    assert "\\<script\\>" in as_markdown(blocks)
    assert "x \\| \\<i\\>" in as_markdown(blocks)
