"""One exchange, as text a person reads and as the machine-readable object (version 1)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Literal

from advisor.facts import Between, FactKind, OneOf, Possible

Kind = Literal["question", "recommendation", "answer", "refusal", "not_understood", "goodbye"]


@dataclass(frozen=True, slots=True)
class Block:
    """A part of a reply: a title, then lines of text, or rows of a table under headings."""

    title: str = ""
    lines: tuple[str, ...] = ()
    headings: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Turn:
    """One answer of the advisor. ``blocks`` are the reply in parts; the rest is plain JSON data."""

    turn: int
    kind: Kind
    blocks: tuple[Block, ...]
    heard: tuple[dict[str, Any], ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    question: dict[str, Any] | None = None
    recommended: dict[str, Any] | None = None
    answer: dict[str, Any] | None = None
    not_understood: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The machine-readable turn, version 1."""
        return {
            "version": 1,
            "turn": self.turn,
            "kind": self.kind,
            "reply": plain(self.blocks),
            "heard": list(self.heard),
            "facts": dict(self.facts),
            "question": self.question,
            "recommended": self.recommended,
            "answer": self.answer,
            "not_understood": list(self.not_understood),
        }


def plain(blocks: Sequence[Block]) -> str:
    """The reply as plain text, for pipes and screen readers: a table row becomes a line."""
    parts = []
    for block in blocks:
        lines = [block.title] if block.title else []
        indent = "  " if block.title else ""
        lines += [indent + line for line in block.lines]
        lines += [indent + ", ".join(cell for cell in row if cell) for row in block.rows]
        parts.append("\n".join(lines))
    return "\n\n".join(part for part in parts if part)


def value_json(kind: FactKind, possible: Possible | None) -> Any:
    """What may still be of a fact, as the machine-readable turn shows it.

    One value for what is settled (true/false for yes and no, numbers for numbers), ``{"at_least", "at_most"}`` for
    bounds, a list for what is still possible, None for "don't know".
    """
    if possible is None:
        return None
    if isinstance(possible, Between):
        if possible.exact is not None:
            return number_json(possible.exact)
        ends = (("at_least", possible.at_least), ("at_most", possible.at_most))
        return {key: number_json(end) for key, end in ends if end is not None}
    for group, members in kind.groups.items():
        if possible.values == frozenset(members):
            return group
    values = [_choice_json(kind, choice) for choice in kind.choices if choice in possible.values]
    return values[0] if len(values) == 1 else values


def number_json(value: Fraction) -> int | float:
    """A number as JSON has it; lengths in eighths and the like are exact as decimals."""
    return int(value) if value.denominator == 1 else float(value)


def _choice_json(kind: FactKind, choice: str) -> Any:
    if kind.kind == "yes_no":
        return choice == "yes"
    return int(choice) if kind.kind == "steps" else choice


def finest(kind: FactKind, possible: Possible) -> Possible:
    """A choice fact's values down to the finest kinds, so that "wood" is all its cores."""
    if isinstance(possible, OneOf):
        return OneOf(frozenset(found for value in possible.values for found in kind.finest(value)))
    return possible
