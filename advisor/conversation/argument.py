"""Why not, what if and what would let me: the answers of ``reasoning.argue`` in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from advisor.conversation.mind import Mind
from advisor.conversation.session import Session
from advisor.conversation.speak import Speaker, lowered
from advisor.conversation.turn import Block
from advisor.reasoning.argue import Arguer, Objection, difference
from advisor.reasoning.infer import Findings
from advisor.reasoning.recommend import Line, RecommendedSet

MOST_OBJECTIONS = 3


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer in parts, with its data: what it is about, its value, the sources it names."""

    blocks: tuple[Block, ...]
    about: str
    value: Any
    sources: tuple[str, ...] = ()


class Argument:
    """Puts objections, differences and ways out into words."""

    def __init__(self, mind: Mind, speaker: Speaker) -> None:
        self.mind, self.speaker, self.graph = mind, speaker, mind.graph
        self.arguer = Arguer(mind.recommender)

    def why_not(self, family: str, found: RecommendedSet, session: Session) -> Answer:
        """Why nothing of a family is in the set: the rule that bars it, what it rests on, and what does the job."""
        say = self.speaker.say
        name = self.speaker.family(family)
        objections = self.arguer.why_not(family, found)
        if not objections:
            there = [line for line in found.lines if self.graph.is_a(line.item, family)]
            conditions = [self.speaker.only_if(line) for line in there]
            if there and all(conditions):
                lines = [say("why_not_maybe", item=_capital(name), condition=conditions[0])]
            else:
                lines = [say("why_not_chosen" if there else "why_not_nothing_asks", item=_capital(name))]
            return Answer((Block(lines=tuple(lines)),), family, lines)
        fitting = [objection for objection in objections if objection.why != "does_not_fit"] or list(objections)
        told = dict.fromkeys(self._objection(objection, found, session) for objection in fitting)
        lines = [*list(told)[:MOST_OBJECTIONS], *self._instead(found)]
        sources = {self.speaker.source(self.graph.rules[rule].source) for o in fitting for rule in o.rules[:1]}
        return Answer((Block(say("why_not_title", item=name), tuple(lines)),), family, lines, tuple(sorted(sources)))

    def _objection(self, objection: Objection, found: RecommendedSet, session: Session) -> str:
        speaker, say = self.speaker, self.speaker.say
        facts = speaker.grounds(sorted(objection.facts), found, session)
        if objection.why == "does_not_fit":
            if objection.arrangement:
                title = self.graph.arrangements[objection.arrangement].title
                return say("why_not_way", arrangement=_capital(title), facts=facts)
            return say("why_not_does_not_fit", item=_capital(speaker.short(objection.item)), facts=facts)
        if objection.why == "less_preferred":
            arrangement = self.graph.arrangements[objection.arrangement or ""].title
            return say("why_not_less_preferred", arrangement=arrangement)
        if objection.why == "other_serves":
            return say("why_not_other_serves", other=speaker.short(objection.about or ""))
        if objection.why == "nothing_asks" or not objection.rules:
            return say("why_not_nothing_asks")
        rule = self.graph.rules[objection.rules[0]]
        fields = {"rule": lowered(rule.sentence), "source": speaker.source(rule.source)}
        if objection.waits_for:
            return say("why_not_barred_open", waits=speaker.facts(objection.waits_for), **fields)
        if objection.why == "falls_short":
            meaning = lowered(self.graph.requirements[objection.about or ""].meaning)
            return say("why_not_falls_short", meaning=meaning, facts=facts, **fields)
        return say("why_not_barred", facts=facts, **fields)

    def _instead(self, found: RecommendedSet) -> Iterator[str]:
        """The nearest thing that is allowed: how the recommended set does it."""
        if found.arrangements:
            titles = "; ".join(self.graph.arrangements[name].title for name in found.arrangements)
            yield self.speaker.say("why_not_instead", arrangement=titles)

    def what_if(self, facts: Iterable[str], before: RecommendedSet, after: RecommendedSet, changed: Session) -> Answer:
        """What another answer would change, line by line; the session stays as it was."""
        say = self.speaker.say
        changes = difference(before, after)
        assumed = self.wording_and(
            say("only_if_case", fact=self.speaker.fact(name), value=self.speaker.value(name, entry.possible))
            for name in facts
            if (entry := changed.sheet.entries.get(name))
        )
        lines = []
        if before.arrangements != after.arrangements:
            titles = "; ".join(self.graph.arrangements[name].title for name in after.arrangements)
            lines.append(say("what_if_latching", title=titles or say("no_arrangement")))
        for key, found in (("what_if_added", changes.added), ("what_if_removed", changes.removed)):
            if found:
                lines.append(say(key, items=self._counted(found)))
        for key, names in (("what_if_unmet", changes.newly_unmet), ("what_if_met", changes.no_longer_unmet)):
            if names:
                lines.append(say(key, meanings=" ".join(self.graph.requirements[name].meaning for name in names)))
        lines = [*(lines or [say("what_if_same")]), say("what_if_kept")]
        value = {
            "added": [_shown(line) for line in changes.added],
            "removed": [_shown(line) for line in changes.removed],
            "unmet": list(after.unmet),
        }
        return Answer((Block(say("what_if_title", facts=assumed), tuple(lines)),), "what_if", value)

    def wording_and(self, parts: Iterable[str]) -> str:
        """Several conditions in one sentence."""
        return self.speaker.wording["condition_and"].join(parts)

    def _counted(self, lines: Iterable[Line]) -> str:
        say = self.speaker.say
        return ", ".join(
            say("only_if_item", quantity=line.quantity, item=self.speaker.short(line.item)) for line in lines
        )

    def what_would(self, family: str, findings: Findings) -> Answer:
        """The single changes under which something of a family may be used."""
        say = self.speaker.say
        name = self.speaker.family(family)
        title = say("what_would_title", item=name)
        if self.mind.chooser.allows(findings, family):
            return Answer((Block(title, (say("what_would_now"),)),), family, [])
        ways = self.arguer.what_would(family, findings)
        lines = [
            say("what_would_line", fact=self.speaker.fact(fact), value=self.speaker.bits(fact, bits))
            for fact, bits in ways
        ] or [say("what_would_nothing")]
        return Answer((Block(title, tuple(lines)),), family, lines)


def _shown(line: Line) -> dict[str, Any]:
    return {"leaf": line.leaf, "item": line.item, "quantity": line.quantity}


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
