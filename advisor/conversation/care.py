"""Answers about doors that hang: what may be done to them, what is wrong with them, and what is refused."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal, get_args

from advisor.conversation.mind import Mind
from advisor.conversation.naming import parts_of
from advisor.conversation.note import note
from advisor.conversation.session import Session
from advisor.conversation.speak import Speaker, lowered
from advisor.conversation.turn import Block
from advisor.facts import FactSheet
from advisor.knowledge.care import InspectionItem, Refusal, Trouble, Verdict, Work
from advisor.knowledge.conditions import Compare, facts_read
from advisor.listening.hearing import Hearing, Want
from advisor.listening.measures import MeasureReader
from advisor.logic import NO, YES
from advisor.reasoning.infer import Findings

RATED = Compare("fire_rating_minutes", bounds=(("at_least", Fraction(1)),))
VERDICTS = get_args(Verdict)
WISH, WORK, TROUBLE, ALLOWED, INSPECTION, ON_SITE_LIST = (
    "unsafe_wish",
    "field_work",
    "trouble",
    "is_allowed",
    "inspection",
    "on_site_list",
)
# Longer than any hole, cut or plate that is asked about by its size. Inches.
LONGEST = 24
# Words so general that they are no trouble to answer where an opening is being described.
VAGUE = frozenset({"broken hardware"})


@dataclass(frozen=True, slots=True)
class CareAnswer:
    """An answer in parts: a refusal where something asked for is barred or may be."""

    kind: Literal["answer", "refusal"]
    blocks: tuple[Block, ...]
    about: str
    value: Any
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Part:
    """One entry told: what it is, whether it refuses, and its data."""

    refuses: bool
    blocks: tuple[Block, ...]
    about: str
    value: Any
    sources: tuple[str, ...]


class CareTalk:
    """Tells the knowledge under ``care/`` of one opening, or of any where nothing is known of it."""

    def __init__(self, mind: Mind, speaker: Speaker) -> None:
        self.mind, self.speaker, self.say = mind, speaker, speaker.say

    @staticmethod
    def concerns(hearing: Hearing, describing: bool = False) -> bool:
        """Whether a message is about care; a vague trouble is not where an opening is being described."""
        return any(
            want.name in (WISH, WORK, ALLOWED, INSPECTION)
            or (want.name == TROUBLE and not (describing and _is_vague(want)))
            for want in hearing.wants
        )

    def asked(self, text: str, hearing: Hearing, sheet: FactSheet, describing: bool = False) -> CareAnswer | None:
        """The answer to a message; None where it asks nothing that is known here.

        Args:
            text: the message.
            hearing: what was heard in it.
            sheet: what is known of the opening; it narrows the answer.
            describing: the message also describes the opening: what is vague, an order or not barred is let pass.
        """
        if not self.concerns(hearing, describing):
            return None
        describing = describing and "?" not in text and not any(want.name == ALLOWED for want in hearing.wants)
        findings = self.mind.judge.infer(self.mind.judge.said(self._described(text, hearing, sheet)))
        parts = list(self._parts(text, hearing, findings, describing))
        return _joined(parts) if parts else None

    def _described(self, text: str, hearing: Hearing, sheet: FactSheet) -> FactSheet:
        """The sheet with what a question says of its door: "drill a hole in a wood door" tells that it is wood."""
        starts = [self._behind(want, text) for want in hearing.wants if want.name in (WISH, WORK, ALLOWED)]
        if not starts or not text[max(starts) :].strip(" ?.!"):
            return sheet
        after = self.mind.listener.hear(text[max(starts) :])
        session, _ = note(Session(sheet=sheet), after.heard, self.mind.graph)
        return session.sheet

    def _behind(self, want: Want, text: str) -> int:
        """Where the words about the door may begin: "paint a fire door" and "… on a fire door" hold them already."""
        words = list(re.finditer(r"\S+", text[want.start : want.end]))
        prepositions = self.mind.book.words["prepositions"]
        if want.name == WORK:
            words = words[1:]
        elif want.name == WISH:
            words = [word for word in words if word.group().lower() in prepositions]
        else:
            words = []
        return want.start + words[0].start() if words else want.end

    def trouble_told(self, text: str, hearing: Hearing, sheet: FactSheet) -> CareAnswer | None:
        """The troubles a message names, also those that could be wishes ("wedge"); None where it names none."""
        findings = self.mind.judge.infer(self.mind.judge.said(sheet))
        found = (self.mind.care.trouble(want.about) for want in hearing.wants)
        parts = [self._trouble(trouble, findings) for trouble in dict.fromkeys(each for each in found if each)]
        return _joined(parts) if parts else None

    def _parts(self, text: str, hearing: Hearing, findings: Findings, describing: bool) -> Iterator[_Part]:
        care, words = self.mind.care, parts_of(text)
        by_name = {name: [want for want in hearing.wants if want.name == name] for name in (WISH, WORK, TROUBLE)}
        refusals = [each for want in by_name[WISH] for each in care.refusals_of(want.about, words)[:1]]
        works = [each for want in by_name[WORK] for each in care.works_of(want.about, words)]
        # a wish that names work, as "drill the fire door" does, is answered by what is known of the work
        for want in by_name[WISH]:
            wished = care.works_of(want.about, words)
            if wished and all(any(topic.word for topic in work.heard) for work in wished):
                works += [work for work in wished if self._worded(work, want.about, words)]
                refusals = [each for each in refusals if self._worded(each, want.about, words)]
        if not refusals and not works and not by_name[TROUBLE]:
            allowed = [want.about for want in hearing.wants if want.name == ALLOWED]
            refusals = [each for about in allowed for each in care.refusals_of(about, words)[:1]]
            works = [each for about in allowed if not refusals for each in care.works_of(about, words)]
        if describing:
            refusals = [each for each in refusals if self.mind.judge.truth(each.when, findings) != NO]
            works = [work for work in works if not work.only_asked]
        if any(want.about == ON_SITE_LIST for want in by_name[WORK]):
            yield self._list()
        if any(want.name == INSPECTION for want in hearing.wants):
            yield self._inspection()
        yield from (self._refusal(refusal, findings) for refusal in dict.fromkeys(refusals))
        yield from (self._work(work, findings) for work in self._fitting(dict.fromkeys(works), text, findings))
        troubles = (care.trouble(want.about) for want in by_name[TROUBLE] if not (describing and _is_vague(want)))
        yield from (self._trouble(trouble, findings) for trouble in dict.fromkeys(each for each in troubles if each))

    @staticmethod
    def _worded(entry: Work | Refusal, about: str | None, words: list[str]) -> bool:
        return any(topic.about == about and topic.word in words for topic in entry.heard)

    def _fitting(self, works: Iterable[Work], text: str, findings: Findings) -> list[Work]:
        """The works that fit the opening and the length named, if one is."""
        lengths = self._lengths(text)
        fitting = [
            work
            for work in works
            if self.mind.judge.truth(work.when, findings) != NO
            and (work.size is None or not lengths or any(work.size.holds(length) for length in lengths))
        ]
        return sorted(fitting, key=lambda work: VERDICTS.index(work.verdict))

    def _lengths(self, text: str) -> list[Fraction]:
        """The lengths in a message, inches; longer ones are of a leaf or opening. A bare fraction is a length."""
        # spaCy is slow to import; the commands that only print need none of it
        from advisor.listening.words import plain, split

        cut = split(text)
        words = [plain(word) for _, word in cut]
        gaps = [
            start + len(word) != following
            for (start, word), (following, _) in zip(cut, [*cut[1:], (len(text) + 1, "")], strict=True)
        ]
        found = MeasureReader(self.mind.book.measures).read(words, gaps)
        said = ((measure.kind, measure.value) for measure in found)
        return [
            value
            for kind, value in said
            if value is not None and value <= LONGEST and (kind == "length" or (kind == "number" and value % 1))
        ]

    def _rated(self, findings: Findings) -> int:
        return self.mind.judge.truth(RATED, findings)

    def _rules(self, rules: Iterable[str]) -> tuple[str, tuple[str, ...]]:
        """The rules something rests on as one line, and their sources."""
        found = [self.mind.graph.rules[name] for name in rules]
        told = [self.say("care_rule", rule=rule.sentence, source=self.speaker.source(rule.source)) for rule in found]
        line = self.say("care_rests", rules=self.speaker.wording["care_rules_and"].join(told))
        return line, tuple(dict.fromkeys(self.speaker.source(rule.source) for rule in found))

    def _refusal(self, refusal: Refusal, findings: Findings) -> _Part:
        verdict = self.mind.judge.truth(refusal.when, findings)
        rests, sources = self._rules(refusal.rules)
        value = {"thing": refusal.thing, "rules": list(refusal.rules), "barred": _verdict(verdict)}
        if verdict == NO:
            line = self.say("care_permitted", thing=refusal.thing, otherwise=refusal.otherwise)
            return _Part(False, (Block(lines=(line, rests)),), refusal.name, value, sources)
        if verdict != YES and self._likely_free(refusal, findings):
            fields = {"thing": refusal.thing, "where": refusal.where, "otherwise": refusal.otherwise}
            line = self.say("care_permitted_unless", **fields)
            return _Part(False, (Block(lines=(line, rests)),), refusal.name, value, sources)
        key = "care_refused" if verdict == YES else "care_refused_open"
        key = key if refusal.where else "care_refused_always"
        lines = [
            self.say(key, thing=refusal.thing, where=refusal.where),
            self.say("care_because", because=refusal.because),
            rests,
        ]
        if verdict != YES:
            lines.append(self.say("care_otherwise", otherwise=lowered(refusal.otherwise)))
        instead = tuple(self.say("care_instead_line", instead=each) for each in refusal.instead)
        blocks = (Block(lines=tuple(lines)), Block(self.say("care_instead"), instead))
        return _Part(True, blocks, refusal.name, value, sources)

    def _likely_free(self, refusal: Refusal, findings: Findings) -> bool:
        """Whether a door said to have no rating waits only for something else that would bar the thing."""
        reads = refusal.when is not None and RATED.fact in facts_read(refusal.when)
        return reads and self._rated(findings) == NO

    def _work(self, work: Work, findings: Findings) -> _Part:
        rated = self._rated(findings)
        rests, sources = self._rules(work.rules)
        own = self.speaker.source(work.source)
        lines = []
        if rated != NO:
            lines.append(
                self.say(
                    "care_this_fire_door" if rated == YES else "care_a_fire_door",
                    verdict=self.say(f"care_verdict_{work.verdict}"),
                    because=work.because,
                    label=self.say(f"care_label_{work.label}"),
                )
            )
            lines += [self.say("care_limit", limit=limit) for limit in work.limits]
            lines += [self._people(work.turn_to), self.say("care_source", source=own), rests]
        if rated != YES:
            unrated = lowered(work.unrated) or self.say("care_unrated_free")
            lines.append(self.say("care_this_unrated" if rated == NO else "care_an_unrated", unrated=unrated))
        value = {
            "work": work.title,
            "verdict": work.verdict if rated != NO else "no_label",
            "label": work.label if rated != NO else "no_label",
            "rated": _verdict(rated),
            "rules": list(work.rules),
        }
        title = self.say("care_work_title", work=work.title)
        refuses = work.verdict == "never" and rated != NO
        return _Part(refuses, (Block(title, tuple(lines)),), work.name, value, tuple(dict.fromkeys((own, *sources))))

    def _people(self, people: Iterable[str]) -> str:
        named = (self.say(f"care_person_{person}") for person in people)
        return self.say("care_turn_to", people=self.speaker.wording["care_people_and"].join(named))

    def _trouble(self, trouble: Trouble, findings: Findings) -> _Part:
        """A trouble's causes in order, read along the graph, with what must not be done on a fire door."""
        care, rated = self.mind.care, self._rated(findings)
        fitting = [cause for cause in trouble.causes if self.mind.judge.truth(cause.when, findings) != NO]
        causes = [
            self.say("care_cause", number=number, cause=cause.title, check=cause.check, mend=cause.mend)
            for number, cause in enumerate(fitting, 1)
        ]
        lines = list(causes)
        if rated != NO:
            key = "care_trouble_this_fire_door" if rated == YES else "care_trouble_a_fire_door"
            lines += [self.say(key, line=line) for line in trouble.fire_door]
        rests, sources = self._rules(
            edge.removeprefix("rule:") for edge in care.nx.successors(f"trouble:{trouble.name}") if _is_rule(edge)
        )
        own = self.speaker.source(trouble.source)
        lines += [self._people(trouble.turn_to), self.say("care_source", source=own)]
        if rated != NO:
            lines.append(rests)
        value = {
            "trouble": trouble.name,
            "causes": [{"cause": cause.title, "check": cause.check, "mend": cause.mend} for cause in fitting],
            "rules": list(trouble.rules),
        }
        title = self.say("care_trouble_title", symptom=trouble.symptom)
        return _Part(False, (Block(title, tuple(lines)),), trouble.name, value, tuple(dict.fromkeys((own, *sources))))

    def _list(self) -> _Part:
        """Every kind of work by what the standard says of it."""
        works = self.mind.care.works.values()
        rests, sources = self._rules(("field/what_may_be_done_on_site", "field/ask_the_laboratory_first"))
        value = {verdict: [work.title for work in works if work.verdict == verdict] for verdict in VERDICTS}
        lines = [
            self.say(f"care_list_{verdict}", works=self.speaker.wording["care_rules_and"].join(map(lowered, titles)))
            for verdict, titles in value.items()
        ]
        block = Block(self.say("care_list_title"), (*lines, rests, self.say("care_list_ask")))
        return _Part(False, (block,), ON_SITE_LIST, value, sources)

    # The yearly inspection

    def _inspection(self) -> _Part:
        """The items of the inspection by their titles."""
        _, data = self.inspection()
        lines = tuple(
            self.say("care_inspection_item", number=item.number, item=item.title) for item in self.mind.care.inspection
        )
        source = self.say("care_source", source=data["source"])
        block = Block(self.say("care_inspection_title"), (*lines, source, self.say("care_inspection_ask")))
        return _Part(False, (block,), INSPECTION, data["items"], (data["source"],))

    def inspection(self) -> tuple[tuple[Block, ...], dict[str, Any]]:
        """The checklist of the yearly inspection: in parts for people, and as data."""
        rule = self.mind.graph.rules["fire/inspection"]
        source = self.speaker.source(rule.source)
        head = self.say("care_inspection_rule", because=rule.because, source=source)
        blocks = [Block(self.say("care_inspection_title"), (head,))]
        items = []
        for item in self.mind.care.inspection:
            title = self.say("care_inspection_item", number=item.number, item=item.title)
            blocks.append(Block(title, tuple(self._inspected(item))))
            items.append(
                {
                    "number": item.number,
                    "name": item.name,
                    "item": item.title,
                    "look_at": item.look_at,
                    "fails": list(item.fails),
                    "mends": list(item.mends),
                    "label_after": item.after,
                    "rules": list(item.rules),
                    "source": self.speaker.source(item.source),
                }
            )
        blocks.append(Block(lines=(self.say("caution"),)))
        return tuple(blocks), {"version": 1, "source": source, "items": items}

    def _inspected(self, item: InspectionItem) -> Iterator[str]:
        wording = self.speaker.wording
        yield self.say("care_inspection_look", look=item.look_at)
        yield self.say("care_inspection_fails", fails=wording["care_inspection_and"].join(item.fails))
        yield self.say("care_inspection_mends", mends=wording["care_inspection_mends_and"].join(item.mends))
        yield self.say(f"care_after_{item.after}")
        yield self.say("care_source", source=self.speaker.source(item.source))


def _is_vague(want: Want) -> bool:
    return want.about in VAGUE


def _is_rule(node: str) -> bool:
    return node.startswith("rule:")


def _verdict(verdict: int) -> bool | None:
    return None if verdict not in (NO, YES) else verdict == YES


def _joined(parts: list[_Part]) -> CareAnswer:
    """Several entries as one answer: refusals first as they come, each part under its own title."""
    refuses = any(part.refuses for part in parts)
    return CareAnswer(
        kind="refusal" if refuses else "answer",
        blocks=tuple(block for part in parts for block in part.blocks),
        about=parts[0].about,
        value=parts[0].value if len(parts) == 1 else [part.value for part in parts],
        sources=tuple(dict.fromkeys(source for part in parts for source in part.sources)),
    )
