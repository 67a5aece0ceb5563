"""Turns findings and sets into words. Every sentence comes from the phrasebook's wording; this only fills it in."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Any

from advisor.conversation.mind import Mind
from advisor.conversation.session import Session
from advisor.conversation.turn import Block, value_json
from advisor.facts import Between, FactSheet, OneOf, Possible
from advisor.knowledge.lengths import feet_and_inches, written
from advisor.knowledge.parts import Source
from advisor.logic import YES
from advisor.phrasebook.book import Choice
from advisor.reasoning.choose import Assumption
from advisor.reasoning.explain import WEIGHT, paths
from advisor.reasoning.figures import figures_for, size_of
from advisor.reasoning.recommend import Alternative, Line, RecommendedSet, joined

MOST_CAUTIONS = 6
# A longer list is not read; examples show what kind of answer is meant
MOST_CHOICES_SHOWN = 13
EXAMPLES = 8
MOST_CASES_SHOWN = 6
FEET_FACTS = ("leaf_width_in", "inactive_leaf_width_in", "leaf_height_in")
ORDER = ("each", "active", "inactive", "opening")
DESCRIBING = (
    "leaves",
    "leaf_width_in",
    "leaf_height_in",
    "door_material",
    "fire_rating_minutes",
    "room_use",
    "occupancy",
)


class Speaker:
    """Puts what the advisor knows into the phrasebook's words."""

    def __init__(self, mind: Mind) -> None:
        self.mind, self.graph, self.wording = mind, mind.graph, mind.book.wording

    def say(self, key: str, **fields: object) -> str:
        """The wording under a key with its fields filled in."""
        return self.wording[key].format(**fields)

    def fact(self, name: str) -> str:
        """What a fact is called."""
        return self.wording.get(f"fact_{name}", name)

    def value(self, name: str, possible: Possible | None) -> str:
        """A fact's remaining values in words."""
        kind = self.graph.kinds[name]
        if possible is None:
            return self.say("value_all")
        if isinstance(possible, Between):
            return self._range(name, possible)
        question = self.mind.book.questions.get(name)
        labels = {choice.value: choice.label for choice in question.choices} if question else {}
        shown = value_json(kind, possible)
        if isinstance(shown, str) and shown in kind.groups:
            return labels.get(shown, _spaced(shown))
        words = [labels.get(choice, self._choice(name, choice)) for choice in kind.choices if choice in possible.values]
        if len(words) == len(kind.choices) and len(words) > 2:
            return self.say("value_all")
        if len(words) > 3 and 2 * len(words) > len(kind.choices):
            left_out = [
                labels.get(choice, self._choice(name, choice))
                for choice in kind.choices
                if choice not in possible.values
            ]
            return self.say("value_not", values=self.wording["value_or"].join(left_out))
        return self.wording["value_or"].join(words)

    def _choice(self, name: str, choice: str) -> str:
        kind = self.graph.kinds[name]
        if kind.kind == "yes_no":
            return self.say(f"value_{choice}")
        return self.say("value_unit", value=choice, unit=kind.unit) if kind.kind == "steps" else _spaced(choice)

    def _range(self, name: str, possible: Between) -> str:
        low, high = (self.number(name, end) for end in (possible.at_least, possible.at_most))
        if possible.exact is not None:
            return low
        if possible.at_least is None:
            return self.say("value_at_most", high=high) if possible.at_most is not None else self.say("value_all")
        if possible.at_most is None:
            return self.say("value_at_least", low=low)
        return self.say("value_between", low=low, high=high)

    def number(self, name: str, value: Fraction | None) -> str:
        """A number of a fact as the trade writes it."""
        if value is None:
            return ""
        unit = self.graph.kinds[name].unit
        if name in FEET_FACTS and value >= 12:
            return feet_and_inches(value)
        if unit == "in":
            return written(value)
        shown = int(value) if value.denominator == 1 else float(value)
        return self.say("value_unit", value=shown, unit=unit)

    def source(self, source: Source) -> str:
        """Where a statement rests, in a few words; memory and what is local say so."""
        said = self._basis(source)
        return self.say("source_local", source=said) if source.local else said

    def _basis(self, source: Source) -> str:
        if source.basis == "common_practice":
            return self.say("common_practice")
        if source.basis == "from_memory":
            return self.say("memory_note")
        work = self.graph.works[source.work].short
        key = "source_cited" if source.edition else "source_short"
        return self.say(key, work=work, edition=source.edition, section=source.section)

    def opening(self, sheet: FactSheet) -> str:
        """The opening as the customer described it, on one line."""
        said = {
            name: self.value(name, sheet.entries[name].possible)
            for name in DESCRIBING
            if name in sheet.entries and sheet.entries[name].possible is not None
        }
        if "leaf_width_in" in said and "leaf_height_in" in said:
            said["leaf_width_in"] = self.say("size", width=said["leaf_width_in"], height=said.pop("leaf_height_in"))
        return ", ".join(said.values())

    def noted(self, session: Session, facts: Iterable[str]) -> str:
        """What was taken from the customer's words, on one line."""
        parts = []
        said = set(facts)
        for name in (name for name in self.graph.kinds if name in said):
            entry = session.sheet.entries.get(name)
            if entry is None or entry.closed:
                continue
            value = self.value(name, entry.possible)
            if entry.hedged:
                parts.append(self.say("heard_hedged", fact=self.fact(name), value=value))
            else:
                parts.append(self.say("noted_fact", fact=self.fact(name), value=value))
        return self.say("heard", facts="; ".join(parts)) if parts else ""

    def question(self, fact: str, possible: Possible | None) -> tuple[Block, dict[str, Any]]:
        """A question as text and as data: only the answers still possible are offered."""
        asked = self.mind.book.questions[fact]
        labels = [choice.label for choice in self.offered(fact, possible)]
        shown = []
        if self.graph.kinds[fact].kind == "choice" and len(labels) > MOST_CHOICES_SHOWN:
            shown = [self.say("question_examples", examples=", ".join(labels[:EXAMPLES]))]
        elif self.graph.kinds[fact].kind == "choice":
            shown = [self.say("question_number", number=at, label=label) for at, label in enumerate(labels, 1)]
            shown.append(self.say("question_unsure", number=len(labels) + 1, label=asked.unsure))
        elif self.graph.kinds[fact].kind == "steps":
            # without numbers: "3" would be the third line to one customer and three hours to another
            shown = [*labels, asked.unsure]
        lines = [asked.text, *shown]
        data = {"fact": fact, "text": asked.text, "choices": [*labels, asked.unsure], "why": asked.why}
        return Block(lines=tuple(lines)), data

    def offered(self, fact: str, possible: Possible | None) -> list[Choice]:
        """The answers to a question that are still possible, in the order they are shown."""
        left = possible.values if isinstance(possible, OneOf) else None
        kind = self.graph.kinds[fact]
        choices = self.mind.book.questions[fact].choices
        return [choice for choice in choices if left is None or left.intersection(kind.finest(choice.value))]

    def condition(self, cases: tuple[Assumption, ...]) -> str:
        """The cases in which something belongs to the set, in words."""
        said = []
        for case in cases:
            parts = [
                self.say("only_if_case", fact=self.fact(fact), value=self.value(fact, self._possible(fact, bits)))
                for fact, bits in case
            ]
            said.append(self.wording["condition_and"].join(parts))
        return self.wording["condition_or"].join(said)

    def _possible(self, fact: str, bits: int) -> Possible:
        return self.graph.cells[fact].possible(bits)

    def only_if(self, line: Line) -> str | None:
        """When a line is needed, or None where it always is."""
        if line.cases:
            return self.condition(line.cases)
        if line.waits_for:
            return self.say("only_if_waits", facts=self.facts(line.waits_for))
        return None

    def facts(self, names: Iterable[str]) -> str:
        """Facts by what they are called."""
        return ", ".join(self.fact(name) for name in sorted(names))

    def set_blocks(
        self, found: RecommendedSet, session: Session, complete: bool, whole: bool = False
    ) -> Iterator[Block]:
        """The set and everything it rests on, part by part; as a whole also every caution."""
        title = self.say("set_title", opening=self.opening(session.sheet))
        lines = self.ordered(found)
        if len(found.choice.cases) > MOST_CASES_SHOWN:
            lines = [line for line in lines if not line.cases]
            turning = {fact for assumed, _, _ in found.choice.cases for fact, _ in assumed}
            yield Block(title, (self.say("set_wide_open", facts=self.facts(turning)),))
        else:
            latching = list(self._latching(found)) or [self.say("no_arrangement")]
            yield Block(title, tuple(latching if complete else [self.say("set_incomplete"), *latching]))
        ordered = [name for name in ("hand", "finish") if name in session.sheet.entries]
        columns = ("leaf", "quantity", "item", "type", "size", *ordered)
        headings = tuple(self.say(f"column_{name}") for name in columns)
        yield Block(headings=headings, rows=tuple(self._rows(lines, found, session, ordered)))
        yield from self._lines("unmet", self.unmet(found, conditional=len(found.choice.cases) <= MOST_CASES_SHOWN))
        yield from self._lines("only_if", self._conditional(lines))
        yield from self._lines("to_find_out", self._to_find_out(found, session))
        yield from self._lines("extra_while_open", self._extra(lines, found))
        yield from self._lines("rests_on", self._rests_on(lines, found, session))
        yield from self._lines("assumed", self._assumed(found, session))
        yield from self._lines("may_require", self.may_require(found))
        yield from self._lines("figures", self._figures(lines, found, session))
        yield from self._lines("alternatives", (self.alternative(other) for other in found.alternatives))
        cautions = self.cautions(found, session)
        more = 0 if whole else len(cautions) - MOST_CAUTIONS
        shown = cautions[: None if whole else MOST_CAUTIONS] + (
            [self.say("more_cautions", count=more)] if more > 0 else []
        )
        yield from self._lines("cautions", shown)
        yield Block(lines=(self.say("caution"),))

    def unmet(self, found: RecommendedSet, conditional: bool = True) -> Iterator[str]:
        """What nothing meets, and to whom to turn; where asked for, also what nothing meets only in some cases."""
        for name in found.unmet:
            yield self.graph.requirements[name].meaning
        for name, cases in found.unmet_if if conditional else ():
            yield self.say("unmet_if", condition=self.condition(cases), meaning=self.graph.requirements[name].meaning)

    def _latching(self, found: RecommendedSet) -> Iterator[str]:
        """How the opening latches, case by case where there are several."""
        for name in found.arrangements:
            arrangement = self.graph.arrangements[name]
            cases = [assumed for assumed, plan, _ in found.choice.cases if plan.arrangement == name]
            fields = {"title": arrangement.title, "because": arrangement.because}
            if len(found.arrangements) > 1:
                yield self.say("arrangement_if", condition=self.condition(joined(cases)), **fields)
            else:
                yield self.say("arrangement", **fields)

    def _conditional(self, lines: Sequence[Line]) -> Iterator[str]:
        """The lines that are needed only in some cases, case by case."""
        by_condition: dict[str, list[str]] = {}
        counted_apart = self._counted_apart(lines)
        for line in lines:
            condition = self.only_if(line)
            if (line.leaf, line.item) in counted_apart:
                facts = self.facts({fact for case in line.cases for fact, _ in case})
                by_condition[self.say("only_if_counts", facts=facts)] = [self.short(line.item)]
            elif condition:
                counted = self.say("only_if_item", quantity=line.quantity, item=self.short(line.item))
                by_condition.setdefault(condition, []).append(counted)
        for condition, items in by_condition.items():
            yield self.say("only_if_line", condition=condition, items=", ".join(items))

    def _to_find_out(self, found: RecommendedSet, session: Session) -> Iterator[str]:
        """Who can tell what the customer couldn't, as far as the set still turns on it."""
        turning = {fact for line in found.lines for fact in line.waits_for}
        cases = [case for line in found.lines for case in line.cases]
        turning |= {fact for case in cases for fact, _ in case}
        for fact in sorted(turning & session.closed):
            yield self.say("to_find_out_line", fact=self.fact(fact), who=self.mind.book.questions[fact].who_can_tell)

    def _extra(self, lines: Sequence[Line], found: RecommendedSet) -> Iterator[str]:
        """The lines that what is certain doesn't ask for: what the open answers cost against the best case."""
        if len(found.choice.cases) > MOST_CASES_SHOWN:
            return
        certain = self.mind.chooser.choose(found.findings, YES)
        needed = {(pick.leaf, pick.item) for _, plan, _ in certain.cases for pick in plan.picks}
        for (leaf, item), line in {(line.leaf, line.item): line for line in lines}.items():
            if (leaf, item) not in needed:
                yield self.say("only_if_item", quantity=line.quantity, item=self.short(item))

    def _lines(self, key: str, lines: Iterable[str]) -> Iterator[Block]:
        found = tuple(lines)
        if found:
            yield Block(self.say(key), found)

    def ordered(self, found: RecommendedSet) -> list[Line]:
        """The lines leaf by leaf, in the order they were chosen."""
        return sorted(found.lines, key=lambda line: ORDER.index(line.leaf))

    def item(self, name: str) -> str:
        """What an item is called."""
        return self.graph.items[name].title

    def short(self, name: str) -> str:
        """What an item is called, up to the first comma or bracket."""
        return re.split(r"[,(]", self.item(name), maxsplit=1)[0].strip()

    def family(self, name: str) -> str:
        """What a family of items is called: an item's short title, or the family's own name."""
        return self.short(name) if name in self.graph.items else _spaced(name)

    def bits(self, fact: str, bits: int) -> str:
        """Some cells of a fact in words."""
        return self.value(fact, self._possible(fact, bits))

    def leaf(self, line: Line, found: RecommendedSet) -> str:
        """Which leaf a line is for."""
        single = all(other.leaf in ("active", "opening") for other in found.lines)
        return self.say("leaf_single" if single and line.leaf == "active" else f"leaf_{line.leaf}")

    def _counted_apart(self, lines: Sequence[Line]) -> frozenset[tuple[str, str]]:
        """The lines that stand there in more than two quantities: the text gives them one row."""
        counted = Counter((line.leaf, line.item) for line in lines)
        return frozenset(key for key, times in counted.items() if times > 2)

    def ordered_by(self, line: Line, fact: str, session: Session) -> str:
        """A detail a line is ordered by, as the customer settled it; empty where it isn't or doesn't matter."""
        entry, item = session.sheet.entries.get(fact), self.graph.items[line.item]
        if fact not in item.order or not entry or not entry.possible:
            return ""
        said = self.value(fact, entry.possible)
        if fact == "finish" and item.base and isinstance(entry.possible, OneOf) and len(entry.possible.values) == 1:
            return self._finish_on(item.base, *entry.possible.values) or said
        return said

    def _finish_on(self, base: str, code: str) -> str | None:
        """The finish that looks like this one on another base metal; None where none is known or needed."""
        finishes = self.mind.lookups.finishes
        like = finishes[code].like if code in finishes else {}
        for other in sorted(like, key=lambda name: (like[name] != "other_base", name)):
            if (
                like[other] in ("other_base", "near")
                and base in finishes[other].base
                and base not in finishes[code].base
            ):
                found = finishes[other]
                return self.say("finish_on", code=other, us=found.us, look=found.look, base=found.base)
        return None

    def _rows(
        self, lines: Sequence[Line], found: RecommendedSet, session: Session, ordered: Sequence[str]
    ) -> Iterator[tuple[str, ...]]:
        counted_apart = self._counted_apart(lines)
        told = set()
        for line in lines:
            key = (line.leaf, line.item)
            if key in told:
                continue
            quantity = str(line.quantity)
            if key in counted_apart:
                told.add(key)
                counts = [other.quantity for other in lines if (other.leaf, other.item) == key]
                quantity = self.say("value_between", low=min(counts), high=max(counts))
            size = self.size(line, found, session)
            details = (self.ordered_by(line, name, session) for name in ordered)
            yield (self.leaf(line, found), quantity, self.item(line.item), self.type(line, found), size, *details)

    def size(self, line: Line, found: RecommendedSet, session: Session) -> str:
        """A line's size where the facts give it."""
        return size_of(self.mind.judge, line.item, found.findings, session.sheet, line.leaf)

    def type(self, line: Line, found: RecommendedSet) -> str:
        """A line's type; on a fire door with the word that it must be listed."""
        item = self.graph.items[line.item]
        listed = found.findings.required[self.graph.requirement_index["listed_hardware"]] == YES
        if not listed or not item.label:
            return item.type
        return self.say("listed_part", type=item.type) if item.type else self.say("listed_only")

    def _rests_on(self, lines: Sequence[Line], found: RecommendedSet, session: Session) -> Iterator[str]:
        for line in {(line.leaf, line.item): line for line in lines}.values():
            reasons = self.reasons(line, found, session)
            yield self.say("rests_line", item=self.short(line.item), reasons="; ".join(reasons))

    def reasons(self, line: Line, found: RecommendedSet, session: Session) -> list[str]:
        """Why a line stands in the set: from the customer's words through the cited rule to the item."""
        reasons = []
        for path in paths(self.mind.judge, line, found.findings):
            rule = self.graph.rules[path.rule]
            fields = {
                "rule": rule.sentence,
                "source": self.source(rule.source),
                "requirement": lowered(self.graph.requirements[path.requirement].meaning),
            }
            if path.certain:
                reasons.append(self.say("reason", facts=self.grounds(path.facts, found, session), **fields))
            else:
                reasons.append(self.say("reason_open", **fields))
        purpose = self.graph.items[line.item].purpose
        if line.brought_by:
            bringing = self.graph.items[line.brought_by]
            reason = self.say("reason_brought", item=self.short(line.brought_by), purpose=purpose).strip()
            whens = [c.when for c in bringing.brings if c.when and self.graph.is_a(line.item, c.item)]
            facts = {fact for when in whens for fact in self.mind.judge.holding(when, found.findings)}
            grounds = self.grounds(sorted(facts), found, session)
            reasons.append(self.say("reason_brought_as", reason=reason, facts=grounds) if grounds else reason)
        if not reasons:
            titles = ", ".join(self.graph.arrangements[name].title for name in found.arrangements)
            reasons.append(self.say("reason_arrangement", title=titles, purpose=purpose).strip())
        return reasons

    def grounds(self, facts: Iterable[str], found: RecommendedSet, session: Session) -> str:
        """Facts as the customer said them; implied and assumed ones by their value."""
        said = []
        for name in facts:
            entry = session.sheet.entries.get(name)
            if entry and entry.possible is not None:
                words = self.say("fact_said", words=entry.text)
                yes_no = self.graph.kinds[name].kind == "yes_no"
                value = self.value(name, entry.possible)
                said.append(self.say("fact_said_so", words=words, value=value) if yes_no else words)
                continue
            at = self.graph.fact_index[name]
            value = f"{self.fact(name)} {self.value(name, self._possible(name, found.findings.state[at]))}"
            implied = any(assumed.fact == name and assumed.rule for assumed in found.assumed)
            said.append(self.say("fact_implied" if implied else "fact_presumed", value=value))
        return " + ".join(said)

    def _assumed(self, found: RecommendedSet, session: Session) -> Iterator[str]:
        for name, entry in session.sheet.entries.items():
            if entry.hedged:
                value = self.value(name, entry.possible)
                yield self.say("assumed_hedged", fact=self.fact(name), value=value)
        yield from self.assumptions(found)

    def assumptions(self, found: RecommendedSet) -> Iterator[str]:
        """What nobody said: implied by a rule, or presumed."""
        for assumed in found.assumed:
            fields = {"fact": self.fact(assumed.fact), "value": self.value(assumed.fact, assumed.possible)}
            if assumed.rule:
                rule = self.graph.rules[assumed.rule]
                source = self.source(rule.source)
                yield self.say("assumed_implied", rule=lowered(rule.sentence), source=source, **fields)
            else:
                yield self.say("assumed_presumed", **fields)

    def may_require(self, found: RecommendedSet) -> Iterator[str]:
        """What has to be looked into because it is open and no hardware would meet it."""
        for name, facts in found.may_require:
            meaning = self.graph.requirements[name].meaning
            yield self.say("may_require_line", meaning=meaning, facts=self.facts(facts))

    def _figures(self, lines: Sequence[Line], found: RecommendedSet, session: Session) -> Iterator[str]:
        told = set()
        for line in lines:
            for figure in figures_for(self.mind.judge, line.item, found.findings, session.sheet, line.leaf):
                text = self.say("figure_line", item=self.short(line.item), label=figure.label, text=figure.text)
                if figure.text and text not in told:
                    told.add(text)
                    yield text

    def alternative(self, other: Alternative) -> str:
        """Why another arrangement was not chosen."""
        title = self.graph.arrangements[other.arrangement].title
        if other.why == "less_preferred" or other.about is None:
            return self.say("alternative_less", arrangement=title)
        rules = "; ".join(
            f"{self.graph.rules[name].sentence}, {self.source(self.graph.rules[name].source)}"
            for name in other.rules[:2]
        )
        if other.waits_for:
            return self.say("alternative_open", arrangement=title, facts=self.facts(other.waits_for), rules=rules)
        key = "alternative_barred" if other.why == "barred" else "alternative_short"
        meaning = lowered(self.graph.requirements[other.about].meaning).rstrip(".")
        return self.say(key, arrangement=title, meaning=meaning, rules=rules)

    def cautions(self, found: RecommendedSet, session: Session) -> list[str]:
        """The cautions of the rules that apply, the weightiest first, each with its source."""
        rules = sorted(
            (self.graph.rules[name] for name in found.cautions),
            key=lambda rule: (WEIGHT[rule.strength], -self._closeness(rule.name, found, session), rule.name),
        )
        return [f"{target} [{self.source(rule.source)}]" for rule in rules for target in rule.targets]

    def _closeness(self, name: str, found: RecommendedSet, session: Session) -> int:
        """How many of the things the customer said a caution speaks of: the more, the closer to the matter."""
        clause = self.mind.judge.rule_clause(name)
        return len(self.mind.judge.holding(clause.condition, found.findings) & session.sheet.entries.keys())


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def lowered(sentence: str) -> str:
    """A sentence to go on within another: its first letter small unless the word is all capitals, no full stop."""
    first = sentence.split(" ", 1)[0]
    start = sentence if first.isupper() and len(first) > 1 else sentence[:1].lower() + sentence[1:]
    return start.rstrip(".")
