"""Many sessions counted together. Memory grows with the kinds of things counted, not with the sessions."""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from advisor.review.compare import CHANGES
from advisor.review.gist import BASES
from advisor.review.logs import Problem
from advisor.review.replay import Batch, Replayed
from advisor.review.verdicts import reasons

SLOWEST = 10
MOST_LISTED = 1000


@dataclass
class Tally:
    """Counts over sessions. ``changed`` and ``problems`` keep the first thousand; their counts go on."""

    sessions: int = 0
    turns: int = 0
    compared: int = 0
    other_knowledge: int = 0
    seconds: float = 0.0
    problem_count: int = 0
    changes: Counter[str] = field(default_factory=Counter)
    follow_ups: int = 0
    wanted: Counter[str] = field(default_factory=Counter)
    rules: Counter[str] = field(default_factory=Counter)
    items: Counter[str] = field(default_factory=Counter)
    bases: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    questions: Counter[str] = field(default_factory=Counter)
    questions_per_session: Counter[int] = field(default_factory=Counter)
    words: Counter[str] = field(default_factory=Counter)
    unknown: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    by_day: Counter[str] = field(default_factory=Counter)
    by_rule: dict[str, list[str]] = field(default_factory=dict)
    by_rule_only_reasons: dict[str, list[str]] = field(default_factory=dict)
    set_changes: int = 0
    slowest: list[tuple[float, str, int]] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def add(self, batch: Batch) -> None:
        """Count a batch in."""
        self.seconds += batch.seconds
        self.problem_count += len(batch.problems)
        self.problems += batch.problems[: MOST_LISTED - len(self.problems)]
        for replayed in batch.replayed:
            self._add(replayed)

    def _add(self, replayed: Replayed) -> None:
        gist = replayed.gist
        self.sessions += 1
        self.turns += replayed.turns
        self.compared += replayed.comparable
        self.other_knowledge += replayed.other_knowledge
        self.changes.update(replayed.changed)
        self.follow_ups += sum(one.follows for one in replayed.differences)
        counted = ("wanted", "rules", "items", "bases", "kinds", "unknown")
        for name in counted:
            getattr(self, name).update(getattr(gist, name))
        self.questions.update(fact for fact in gist.questions if fact)
        self.questions_per_session[len(gist.questions)] += 1
        self.words.update(word.lower() for word in gist.words)
        self.reasons.update(reasons(replayed))
        if replayed.stamp is not None:
            self.by_day[f"{datetime.fromtimestamp(replayed.stamp, UTC):%Y-%m-%d}"] += 1
        if "recommendation" in replayed.changed and len(self.changed) < MOST_LISTED:
            self.changed.append(replayed.name)
        for turn, seconds in enumerate(replayed.seconds, start=1):
            heapq.heappush(self.slowest, (seconds, replayed.name, turn))
            if len(self.slowest) > SLOWEST:
                heapq.heappop(self.slowest)
        if replayed.set_change:
            self.set_changes += replayed.set_change.in_lines
            grouped = self.by_rule if replayed.set_change.in_lines else self.by_rule_only_reasons
            for rule in replayed.set_change.responsible:
                grouped.setdefault(rule, []).append(replayed.name)

    def as_json(self) -> dict[str, Any]:
        """Everything counted, as data; rankings fall from the most frequent, ties by name."""
        return {
            "version": 1,
            "sessions": self.sessions,
            "turns": self.turns,
            "compared_turns": self.compared,
            "advised_with_other_knowledge": self.other_knowledge,
            "changes": {kind: self.changes[kind] for kind in CHANGES},
            "changed_sessions": self.changed,
            "asked_for": ranked(self.wanted.items()),
            "rules": ranked(self.rules.items()),
            "items": ranked(self.items.items()),
            "lines_by_strength": {basis: self.bases[basis] for basis in BASES},
            "answers": ranked(self.kinds.items()),
            "questions": ranked(self.questions.items()),
            "questions_per_session": {str(count): times for count, times in sorted(self.questions_per_session.items())},
            "not_understood": ranked(self.words.items()),
            "unknown_facts": ranked(self.unknown.items()),
            "worth_a_review": ranked(self.reasons.items()),
            "sessions_by_day": dict(sorted(self.by_day.items())),
            "slowest_turns": [
                {"milliseconds": round(seconds * 1000, 1), "session": name, "turn": turn}
                for seconds, name, turn in sorted(self.slowest, reverse=True)
            ],
            "sets_that_would_change": self.set_changes,
            "by_rule": dict(sorted(self.by_rule.items())),
            "by_rule_only_reasons": dict(sorted(self.by_rule_only_reasons.items())),
            "problems": [{"place": one.place, "text": one.text} for one in self.problems],
            "problem_count": self.problem_count,
        }


def ranked(counts: Iterable[tuple[str, int]]) -> dict[str, int]:
    """Counts from the highest to the lowest, ties by name."""
    return dict(sorted(counts, key=lambda one: (-one[1], one[0])))
