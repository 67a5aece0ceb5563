"""Which rules make two states of the knowledge advise differently on the same facts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from advisor.conversation.mind import Mind
from advisor.conversation.session import from_slots
from advisor.conversation.speak import Speaker
from advisor.knowledge.graph import KnowledgeGraph
from advisor.logic import NO, UNKNOWN, YES
from advisor.reasoning.choose import Choice
from advisor.reasoning.infer import Findings
from advisor.reasoning.recommend import Line
from advisor.yaml_files import Place

# leaf, item, quantity
Hardware = tuple[str, str, int]
_NOWHERE = Place("", 0)
# where a part stands, how it is worded and what it cites say nothing of what it does
_BESIDE = {
    "place": _NOWHERE,
    "cases": (),
    "facts": (),
    "notes": (),
    **dict.fromkeys(("because", "sentence", "title", "meaning", "label", "strength", "source"), ""),
}


@dataclass(frozen=True, slots=True)
class Edits:
    """What differs between two states of the knowledge, by name.

    ``others``: items, arrangements, tables, requirements and facts, as ``item:closer``.
    """

    rules: frozenset[str]
    others: frozenset[str]


@dataclass(frozen=True, slots=True)
class SetChange:
    """How the set for a session's facts would change: the rules or other parts responsible, and the lines.

    ``in_lines``: whether hardware, or when it is needed, changes; otherwise only the rules it rests on do.
    """

    responsible: tuple[str, ...]
    before: tuple[Hardware, ...]
    now: tuple[Hardware, ...]
    in_lines: bool

    @property
    def gone(self) -> list[Hardware]:
        """The lines (leaf, item, quantity) that fall away."""
        return sorted((Counter(self.before) - Counter(self.now)).elements())

    @property
    def come(self) -> list[Hardware]:
        """The lines that come in."""
        return sorted((Counter(self.now) - Counter(self.before)).elements())

    def as_json(self) -> dict[str, Any]:
        """The change as data."""
        shown = {"gone": self.gone, "come": self.come}
        lines = {
            key: [{"leaf": leaf, "item": item, "quantity": count} for leaf, item, count in found]
            for key, found in shown.items()
        }
        return {"responsible": list(self.responsible), "in_lines": self.in_lines, **lines}


def edits(before: KnowledgeGraph, now: KnowledgeGraph) -> Edits:
    """What was added, taken away or changed in what it does."""
    parts = ("items", "arrangements", "tables", "requirements", "kinds", "figures")
    others = {
        f"{part.removesuffix('s') if part != 'kinds' else 'fact'}:{name}"
        for part in parts
        for name in _changed(getattr(before, part), getattr(now, part))
    }
    return Edits(frozenset(_changed(before.rules, now.rules)), frozenset(others))


def _changed(before: Mapping[str, Any], now: Mapping[str, Any]) -> Iterable[str]:
    return (
        name
        for name in sorted(before.keys() | now.keys())
        if name not in before or name not in now or _bare(before[name]) != _bare(now[name])
    )


def _bare(part: Any) -> Any:
    fields: dict[str, Any] = {key: value for key, value in _BESIDE.items() if hasattr(part, key)}
    if hasattr(part, "rows"):
        fields["rows"] = tuple((row.when, row.value) for row in part.rows)
    return replace(part, **fields)


def set_change(before: Mind, now: Mind, slots: Mapping[str, Any], edited: Edits) -> SetChange | None:
    """How the safe set for the facts a session ended with differs; None where it stays, or where nothing was said.

    Responsible are the edited rules whose verdict or effect differs for these facts; where an edit works only through
    others, the edited rules that may apply; then the rules that one set rests on and the other doesn't; then the other
    edited parts.
    """
    findings = [_findings(mind, slots) for mind in (before, now)]
    if findings[0] is None or findings[1] is None:
        return None
    views = [_View(mind, found) for mind, found in zip((before, now), findings, strict=True) if found]
    applying = {name for name in edited.rules if any(view.verdict(name) != NO for view in views)}
    if not applying and not edited.others:
        return None
    old, new = views
    same = (old.lines, old.unmet) == (new.lines, new.unmet)
    if same and old.rests_on == new.rests_on:
        return None
    differing = {
        name
        for name in edited.rules
        if old.verdict(name) != new.verdict(name)
        or (old.verdict(name) != NO and _effect(before.graph, name) != _effect(now.graph, name))
    }
    responsible = differing or applying or old.rests_on ^ new.rests_on or edited.others
    return SetChange(tuple(sorted(responsible)), old.hardware, new.hardware, not same)


@dataclass(frozen=True)
class _View:
    """What follows from the facts in one state of the knowledge, and the set, worked out only when looked at."""

    mind: Mind
    findings: Findings

    def verdict(self, rule: str) -> int:
        index = self.mind.judge.rule_index
        return self.findings.rules[index[rule]] if rule in index else NO

    @cached_property
    def choice(self) -> Choice:
        return self.mind.chooser.choose(self.findings, UNKNOWN)

    @cached_property
    def set_lines(self) -> tuple[Line, ...]:
        return tuple(self.mind.recommender.lines(self.choice))

    @property
    def hardware(self) -> tuple[Hardware, ...]:
        return tuple(sorted((line.leaf, line.item, line.quantity) for line in self.set_lines))

    @property
    def unmet(self) -> set[str]:
        return {name for _, plan, _ in self.choice.cases for name in plan.unmet}

    @cached_property
    def lines(self) -> list[tuple[str, str, int, str]]:
        speaker = Speaker(self.mind)
        return sorted((line.leaf, line.item, line.quantity, speaker.only_if(line) or "") for line in self.set_lines)

    @cached_property
    def rests_on(self) -> frozenset[str]:
        behind = {rule for line in self.set_lines for rule in line.because}
        beside = {
            name
            for name, rule in self.mind.graph.rules.items()
            if rule.effect in ("implies", "cautions") and self.verdict(name) == YES
        }
        return frozenset(behind | beside)


def _effect(graph: KnowledgeGraph, name: str) -> Any:
    rule = graph.rules.get(name)
    return (rule.effect, rule.targets, rule.implied) if rule else None


def _findings(mind: Mind, slots: Mapping[str, Any]) -> Findings | None:
    known = {name: value for name, value in slots.items() if name.removeprefix("fact_") in mind.graph.kinds}
    sheet = from_slots(known).sheet
    return mind.judge.infer(mind.judge.said(sheet)) if sheet.entries else None
