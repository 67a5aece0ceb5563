"""What is said today held against what was said then, turn by turn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Answer = Mapping[str, Any]

# The weightiest first. "recommendation": the hardware itself; "question": what is asked, or the kind of answer;
# "hearing": what was heard; "grounds": the reasons, cautions and assumptions beside the same hardware.
CHANGES = ("recommendation", "question", "hearing", "grounds", "wording")
_HARDWARE = ("leaf", "item", "quantity", "type", "size", "hand", "finish", "only_if")
_GROUNDS = ("meets", "because")
_HEARD = ("opening", "fact", "value", "how")


@dataclass(frozen=True, slots=True)
class LineChange:
    """A line of the set that came (no ``before``), went (no ``now``), or became another; shown as ``field: value``."""

    before: Mapping[str, Any] | None
    now: Mapping[str, Any] | None

    @property
    def fields(self) -> tuple[str, ...]:
        """The fields that differ, where both lines are there."""
        if self.before is None or self.now is None:
            return ()
        return tuple(key for key in _HARDWARE if self.before.get(key) != self.now.get(key))


@dataclass(frozen=True, slots=True)
class Difference:
    """A turn that differs.

    Attributes:
        turn: its number, from 1.
        kinds: what changed, the weightiest first; ``wording`` only where nothing else did.
        lines: the lines of the set that changed.
        follows: an earlier turn of the session already differs in question or hearing; this may only follow from it.
    """

    turn: int
    said: str
    kinds: tuple[str, ...]
    before: Answer
    now: Answer
    lines: tuple[LineChange, ...] = ()
    follows: bool = False

    def as_json(self) -> dict[str, Any]:
        """The difference as data."""
        return {
            "turn": self.turn,
            "said": self.said,
            "changed": list(self.kinds),
            "follows": self.follows,
            "lines": [{"before": one.before, "now": one.now} for one in self.lines],
            "before": _shown(self.before),
            "now": _shown(self.now),
        }


def compare(turn: int, said: str, before: Answer, now: Answer, follows: bool = False) -> Difference | None:
    """How the answers to one line differ, or None where they are alike."""
    kinds = [kind for kind, changed in _changed(before, now).items() if changed]
    if not kinds and before.get("reply") == now.get("reply"):
        return None
    lines = changed_lines(before.get("recommended"), now.get("recommended"))
    return Difference(turn, said, tuple(kinds) or ("wording",), before, now, lines, follows)


def _changed(before: Answer, now: Answer) -> dict[str, bool]:
    return {
        "recommendation": hardware(before.get("recommended")) != hardware(now.get("recommended")),
        "question": before["kind"] != now["kind"] or _asked(before) != _asked(now),
        "hearing": _heard(before) != _heard(now) or before["not_understood"] != now["not_understood"],
        "grounds": _grounds(before.get("recommended")) != _grounds(now.get("recommended")),
    }


def _asked(answer: Answer) -> Any:
    question = answer.get("question")
    return question and (question["fact"], len(question["choices"]))


def _heard(answer: Answer) -> list[Any]:
    return sorted(([each.get(key) for key in _HEARD] for each in answer["heard"]), key=repr)


def hardware(recommended: Mapping[str, Any] | None) -> Any:
    """The hardware of a set, without reasons and in no order; None where there is no set."""
    if recommended is None:
        return None
    lines = sorted(([line.get(key) for key in _HARDWARE] for line in recommended["lines"]), key=repr)
    return lines, recommended["complete"], sorted(recommended["unmet"])


def _grounds(recommended: Mapping[str, Any] | None) -> Any:
    if recommended is None:
        return None
    lines = sorted(
        ([line.get("item"), *(line.get(key) for key in _GROUNDS)] for line in recommended["lines"]), key=repr
    )
    others = [sorted(recommended[key]) for key in ("assumed", "cautions")]
    return lines, others, sorted((each["arrangement"], each["why"]) for each in recommended["alternatives"])


def changed_lines(before: Mapping[str, Any] | None, now: Mapping[str, Any] | None) -> tuple[LineChange, ...]:
    """The lines of two sets that differ, paired by leaf and item as far as there are pairs."""
    old, new = _lines(before), _lines(now)
    for line in list(old):
        if line in new:
            old.remove(line)
            new.remove(line)
    changes = []
    for line in old:
        pair = next((one for one in new if (one["leaf"], one["item"]) == (line["leaf"], line["item"])), None)
        if pair:
            new.remove(pair)
        changes.append(LineChange(line, pair))
    return (*changes, *(LineChange(None, line) for line in new))


def _lines(recommended: Mapping[str, Any] | None) -> list[dict[str, Any]]:
    return [{key: line.get(key) for key in _HARDWARE} for line in recommended["lines"]] if recommended else []


def _shown(answer: Answer) -> dict[str, Any]:
    keys: Sequence[str] = ("kind", "question", "recommended", "heard", "not_understood", "reply")
    return {key: answer.get(key) for key in keys}
