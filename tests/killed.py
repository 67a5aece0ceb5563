"""Conversations killed at random points: forks a child that logs a conversation, kills it, and says what it had told.

Run as a program with a folder, a seed and how many; prints a line of JSON for each: the log's name and the turns told.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from advisor.conversation.counter import Counter
from advisor.conversation.journal import Journal
from advisor.conversation.mind import Mind, load

LINES = (
    "a pair of hollow metal doors, 90 minutes, school corridor, interior",
    "36x84",
    "no idea",
    "why?",
    "sorry, wood",
    "what do you have so far",
)


def converse(mind: Mind, log: Path, told: int) -> None:
    """The conversation, each turn told through a pipe once it is over."""
    journal = Journal(log, lambda: 1.0, mind.graph.fingerprint)
    counter = Counter(mind, journal.append)
    for line in LINES:
        counter.say(line)
        os.write(told, b".")


def main(folder: Path, seed: int, number: int) -> None:
    """Kill so many conversations."""
    mind = load()
    mind.warm_up()
    chance = random.Random(seed)
    start = time.perf_counter()
    reader, writer = os.pipe()
    converse(mind, folder / "whole.jsonl", writer)
    lasts = time.perf_counter() - start
    os.close(reader)
    os.close(writer)
    for at in range(number):
        log = folder / f"{at:03}.jsonl"
        reader, writer = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(reader)
            converse(mind, log, writer)
            os._exit(0)
        os.close(writer)
        time.sleep(chance.uniform(0, 1.1 * lasts))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        told = len(os.read(reader, 100))
        os.close(reader)
        print(json.dumps({"log": log.name, "told": told}), flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
