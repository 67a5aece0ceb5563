"""Writes the demo week's log: says the lines of demo_sessions/week/lines.yaml to today's advisor.

Run it after a change that is meant to change what is said: ``python tests/write_week.py``.
"""

from __future__ import annotations

import sys
from itertools import count
from pathlib import Path

from advisor.conversation.counter import Counter
from advisor.conversation.journal import Journal
from advisor.conversation.mind import load
from advisor.conversation.privacy import masker_of
from advisor.yaml_files import read

WEEK = Path(__file__).parents[1] / "demo_sessions" / "week"
# Monday 2 March 2026, midnight UTC; a turn takes half a minute
MONDAY = 1_772_409_600
TURN = 30


def write(folder: Path) -> None:
    """Write one log file a day into a folder."""
    mind = load()
    masker = masker_of(mind.book)
    for day, (name, sessions) in enumerate(read(WEEK / "lines.yaml").items()):
        path = folder / f"{day + 1}_{name}.jsonl"
        path.unlink(missing_ok=True)
        for session in sessions:
            hours, minutes = map(int, session["at"].split(":"))
            clock = count(MONDAY + 86400 * day + 3600 * hours + 60 * minutes, TURN)
            journal = Journal(path, lambda clock=clock: float(next(clock)), mind.graph.fingerprint)  # type: ignore[misc]
            counter = Counter(mind, journal.append, masker)
            for line in session["lines"]:
                counter.say(line, session.get("once") == "yes")
            counter.close()
            journal.close()


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else WEEK)
