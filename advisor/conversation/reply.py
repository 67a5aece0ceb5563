"""One turn: what was heard is worked into the session, then the best question or the set comes back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from advisor.conversation.argument import Answer, Argument
from advisor.conversation.care import CareAnswer, CareTalk
from advisor.conversation.lookup import look_up
from advisor.conversation.mind import Mind
from advisor.conversation.note import Noted, note
from advisor.conversation.pick import Picker
from advisor.conversation.session import Session
from advisor.conversation.speak import Speaker
from advisor.conversation.turn import Block, Kind, Turn, value_json
from advisor.facts import FactSheet, Heard, OneOf, Possible
from advisor.listening.hearing import Hearing, Want
from advisor.reasoning.infer import Findings
from advisor.reasoning.recommend import RecommendedSet

SPECIAL = ("quit", "why_not", "why", "what_would", "forget", "cautions", "so_far", "unsafe_wish", "out_of_scope")
SMALL_TALK = ("greeting", "thanks", "help", "upset")


@dataclass(frozen=True, slots=True)
class _Context:
    """What one turn works with."""

    session: Session
    hearing: Hearing
    noted: Noted
    one_shot: bool
    written: bool = False


class Replier:
    """Makes turns with one mind."""

    def __init__(self, mind: Mind) -> None:
        self.mind, self.speaker, self.picker = mind, Speaker(mind), Picker(mind.book)
        self.argument = Argument(mind, self.speaker)
        self.care = CareTalk(mind, self.speaker)

    def hear(self, session: Session, text: str) -> Hearing:
        """What a message says, in the light of what was asked."""
        said = session.contradiction
        asked = said.fact if said else session.asked
        if asked is None:
            return self.mind.listener.hear(text)
        if said:
            plain = self.mind.listener.hear(text)
            if any(heard.fact == asked for heard in plain.heard):
                return plain
        hearing, kind = self.mind.listener.hear(text, asked), self.mind.graph.kinds[asked]
        # the question mark of "why?" is no "don't know"; alone it is
        meant = (heard for heard in hearing.heard if heard.text.strip("?") or not text.strip("? "))
        hearing = replace(hearing, heard=tuple(meant))
        return self.picker.picked(text, hearing, kind, self._offered(session, asked), between_two=said is not None)

    def _offered(self, session: Session, asked: str) -> list[Possible | None]:
        """What each answer offered means, in the order shown; "I don't know" is None."""
        if session.contradiction:
            return [session.contradiction.before.possible, session.contradiction.now.possible]
        kind = self.mind.graph.kinds[asked]
        choices = self.speaker.offered(asked, self._left(asked, session))
        return [*(OneOf(frozenset(kind.finest(choice.value))) for choice in choices), None]

    def _left(self, fact: str, session: Session) -> Possible | None:
        at = self.mind.graph.fact_index[fact]
        return self.mind.graph.cells[fact].possible(self.findings(session.sheet).state[at])

    def heard_json(self, text: str, asked: str | None) -> dict[str, Any]:
        """What a message says, as data, with nothing concluded."""
        hearing = self.mind.listener.hear(text, asked)
        return {
            "version": 1,
            "heard": [self._heard(each) for each in hearing.heard],
            "terms": [each.term for each in hearing.heard],
            "wants": [
                {"want": want.name, "about": want.about, "text": want.text, "start": want.start, "end": want.end}
                for want in hearing.wants
            ],
            "mentions": [
                {"item": each.item, "text": each.text, "start": each.start, "end": each.end, "denied": each.denied}
                for each in hearing.mentions
            ],
            "ambiguous": [
                {"text": each.text, "readings": [self.mind.book.wording[key] for key in each.readings]}
                for each in hearing.ambiguous
            ],
            "not_understood": list(hearing.not_understood),
        }

    def reply(self, session: Session, hearing: Hearing, one_shot: bool = False, text: str = "") -> tuple[Session, Turn]:
        """The turn that answers what was heard, and the session after it.

        Args:
            session: the conversation so far.
            hearing: what the message says.
            one_shot: no further message will come: give the set that is safe in every remaining case at once.
            text: the message itself, for what is looked up by code.
        """
        session = replace(session, turn=session.turn + 1)
        looked_up = look_up(self.mind, text, hearing, session)
        if looked_up:
            understood = replace(hearing, not_understood=())
            return self._answered(_Context(session, understood, Noted(), one_shot), looked_up)
        wants = {want.name: want for want in hearing.wants}
        supposed = "what_if" in wants and bool(session.sheet.entries)
        if supposed and not self.care.concerns(hearing):
            return self._what_if(_Context(session, hearing, Noted(), one_shot))
        if "next" in wants:
            return self._next(_Context(session, hearing, Noted(), one_shot))
        if "same_but" in wants and session.sheet.entries:
            session, hearing = self._copied(session, hearing)
        if "order" in wants:
            session = replace(session, ordering=True)
        written = "write_up" in wants
        if "start_over" in wants:
            session = Session(turn=session.turn)
        elif "undo" in wants:
            return self._undo(session, hearing)
        session, noted = (session, Noted()) if supposed else note(session, hearing.heard, self.mind.graph)
        context = _Context(session, hearing, noted, one_shot)
        care = None if "quit" in wants else self.care.asked(text, hearing, session.sheet, bool(noted.taken))
        if care:
            return self._cared(context, care)
        allowed = wants.get("is_allowed")
        if allowed and allowed.about in self.mind.graph.families and not session.contradiction:
            omitted = "omit" in wants or any(each.denied for each in hearing.mentions)
            if omitted and session.sheet.entries:
                return self._why_set(context, allowed)
            # a word that was not understood may turn the question round
            if not hearing.not_understood:
                return self._allowed(context, allowed.about)
        for name in (
            "quit",
            "why_not",
            "why",
            "what_would",
            "forget",
            "cautions",
            "so_far",
            "unsafe_wish",
            "out_of_scope",
        ):
            if name in wants and not (noted.taken and name == "out_of_scope"):
                return self._special(name)(context, wants[name])
        if session.contradiction:
            return self._contradiction(context)
        said_nothing = not noted.taken and not noted.impossible and not noted.elsewhere
        if said_nothing and hearing.ambiguous:
            return self._ambiguous(context)
        if said_nothing and "start_over" in wants:
            return self._say(context, "answer", "started_over")
        if said_nothing and not session.sheet.entries and any(name in wants for name in SMALL_TALK):
            return self._say(context, "answer", next(name for name in SMALL_TALK if name in wants))
        if said_nothing and not one_shot and not any(name in wants for name in (*SMALL_TALK, "order", "write_up")):
            return self._not_understood(context)
        said = [self.speaker.say(name) for name in SMALL_TALK if name in wants]
        return self._advise(replace(context, one_shot=one_shot or written, written=written), said)

    def _special(self, name: str) -> Callable[[_Context, Want], tuple[Session, Turn]]:
        return {
            "quit": lambda context, _: self._say(context, "goodbye", "goodbye"),
            "why": self._why,
            "why_not": self._why_not,
            "what_would": self._what_would,
            "forget": self._forget,
            "cautions": self._cautions,
            "so_far": self._so_far,
            "unsafe_wish": lambda context, want: self._refuse(context, want, "unsafe"),
            "out_of_scope": lambda context, want: self._refuse(context, want, "out_of_scope"),
        }[name]

    def _turn(
        self,
        context: _Context,
        kind: Kind,
        blocks: Sequence[Block],
        question: dict[str, Any] | None = None,
        recommended: dict[str, Any] | None = None,
        answer: dict[str, Any] | None = None,
    ) -> Turn:
        hearing, session = context.hearing, context.session
        remarks = tuple(self._remarks(context))
        return Turn(
            turn=session.turn,
            kind=kind,
            blocks=(*((Block(lines=remarks),) if remarks else ()), *blocks),
            heard=tuple(self._heard(each) for each in hearing.heard),
            facts=self._facts(session),
            question=question,
            recommended=recommended,
            answer=answer,
            not_understood=hearing.not_understood,
        )

    def _heard(self, heard: Heard) -> dict[str, Any]:
        kind = self.mind.graph.kinds.get(heard.fact)
        return {
            "opening": heard.opening,
            "fact": heard.fact,
            "value": value_json(kind, heard.possible) if kind else None,
            "text": heard.text,
            "start": heard.start,
            "end": heard.end,
            "how": heard.how,
        }

    def _facts(self, session: Session) -> dict[str, Any]:
        kinds = self.mind.graph.kinds
        return {
            name: value_json(kinds[name], entry.possible)
            for name, entry in sorted(session.sheet.entries.items())
            if entry.possible is not None and name in kinds
        }

    def _remarks(self, context: _Context) -> Iterator[str]:
        """What must be said before anything else: what can't be, what was left out."""
        speaker = self.speaker
        for heard in context.noted.impossible:
            kind = self.mind.graph.kinds[heard.fact]
            fields = {"words": heard.text, "fact": speaker.fact(heard.fact)}
            if kind.low is not None and kind.high is not None:
                low, high = speaker.number(kind.name, kind.low), speaker.number(kind.name, kind.high)
                yield speaker.say("impossible", low=low, high=high, **fields)
            else:
                yield speaker.say("impossible_choice", **fields)
        for number in context.noted.waiting:
            described = speaker.opening(dict(context.session.others)[number])
            yield speaker.say("opening_waits", number=number, opening=described)
        if context.hearing.not_understood:
            words = ", ".join(_shortened(word) for word in context.hearing.not_understood[:8])
            yield speaker.say("not_understood", words=words)
        for said in context.hearing.ambiguous:
            readings = "; ".join(self.mind.book.wording[key] for key in said.readings)
            yield speaker.say("left_open", words=_shortened(said.text), readings=readings)

    def _say(self, context: _Context, kind: Kind, key: str, **fields: object) -> tuple[Session, Turn]:
        block = Block(lines=(self.speaker.say(key, **fields),))
        answer = {"about": key, "value": block.lines[0], "sources": []} if kind == "answer" else None
        return context.session, self._turn(context, kind, [block], answer=answer)

    def _refuse(self, context: _Context, want: Want, key: str) -> tuple[Session, Turn]:
        if want.about:
            return self._say(context, "refusal", key, about=want.about.replace("_", " "))
        return self._say(context, "refusal", f"{key}_plain")

    def _undo(self, session: Session, hearing: Hearing) -> tuple[Session, Turn]:
        context = _Context(session, hearing, Noted(), False)
        if session.contradictions:
            said = replace(session, contradictions=(), asked=None)
            return self._advise(replace(context, session=said), [self.speaker.say("undone")])
        if not session.earlier:
            return self._say(context, "answer", "undone_nothing")
        back = replace(session, sheet=session.earlier[-1], earlier=session.earlier[:-1])
        return self._advise(replace(context, session=back), [self.speaker.say("undone")])

    def _next(self, context: _Context) -> tuple[Session, Turn]:
        """The next opening that waits, in turn."""
        session = context.session
        if not session.others:
            return self._say(context, "answer", "opening_none")
        numbers = [number for number, _ in session.others]
        number = next((one for one in numbers if one > session.number), numbers[0])
        shared = frozenset(kind.name for kind in self.mind.graph.kinds.values() if kind.building)
        session = session.turned_to(number, shared)
        line = self.speaker.say("opening_next", number=number, opening=self.speaker.opening(session.sheet))
        return self._advise(replace(context, session=session), [line])

    def _copied(self, session: Session, hearing: Hearing) -> tuple[Session, Hearing]:
        """A further opening like this one, and the message as corrections to it."""
        session = session.beside([session.sheet])
        heard = tuple(replace(each, corrects=True, opening=1) for each in hearing.heard)
        return session.turned_to(session.others[-1][0]), replace(hearing, heard=heard)

    def _not_understood(self, context: _Context) -> tuple[Session, Turn]:
        session = context.session
        lines = [self.speaker.say("nothing_heard")]
        blocks, question = [Block(lines=tuple(lines))], None
        if session.asked:
            block, question = self._question(session.asked, session)
            blocks.append(block)
        elif not session.sheet.entries:
            blocks.append(Block(lines=(self.speaker.say("what_else"),)))
        return session, self._turn(context, "not_understood", blocks, question)

    def _ambiguous(self, context: _Context) -> tuple[Session, Turn]:
        said, *others = context.hearing.ambiguous
        context = replace(context, hearing=replace(context.hearing, ambiguous=tuple(others)))
        readings = [self.mind.book.wording[key] for key in said.readings]
        text = self.speaker.say("ambiguous", words=said.text, readings="; ".join(readings))
        question = {"fact": None, "text": text, "choices": readings, "why": text}
        return context.session, self._turn(context, "question", [Block(lines=(text,))], question)

    def _contradiction(self, context: _Context) -> tuple[Session, Turn]:
        said = context.session.contradiction
        assert said
        session = replace(context.session, asked=said.fact)
        block, question = self._question(said.fact, session)
        return session, self._turn(replace(context, session=session), "question", [block], question)

    def _so_far(self, context: _Context, _: Want) -> tuple[Session, Turn]:
        speaker = self.speaker
        lines = [
            speaker.say("so_far_closed", fact=speaker.fact(name))
            if entry.possible is None
            else speaker.say(
                "so_far_line", fact=speaker.fact(name), value=speaker.value(name, entry.possible), words=entry.text
            )
            for name, entry in context.session.sheet.entries.items()
        ]
        if not lines:
            return self._say(context, "answer", "so_far_nothing")
        answer = {"about": "so_far", "value": self._facts(context.session), "sources": []}
        return context.session, self._turn(
            context, "answer", [Block(speaker.say("so_far"), tuple(lines))], answer=answer
        )

    def findings(self, sheet: FactSheet) -> Findings:
        """What follows from a sheet."""
        return self.mind.judge.infer(self.mind.judge.said(sheet))

    def _question(self, fact: str, session: Session) -> tuple[Block, dict[str, Any]]:
        said = session.contradiction
        if said is None:
            return self.speaker.question(fact, self._left(fact, session))
        before, now = (self.speaker.value(said.fact, entry.possible) for entry in (said.before, said.now))
        text = self.speaker.say("contradiction", before=before, now=now, fact=self.speaker.fact(said.fact))
        return Block(lines=(text,)), {"fact": said.fact, "text": text, "choices": [before, now], "why": text}

    def _advise(self, context: _Context, before: list[str]) -> tuple[Session, Turn]:
        session = context.session
        if not session.sheet.entries:
            blank = replace(session, asked=None, advised=False)
            lines = (*before, self.speaker.say("what_else"))
            return blank, self._turn(replace(context, session=blank), "not_understood", [Block(lines=lines)])
        findings = self.findings(session.sheet)
        planned = self.mind.planner.next_question(findings, session.closed)
        asked = planned.fact if planned else None
        noted = self.speaker.noted(session, (heard.fact for heard in context.noted.taken))
        opening = [Block(lines=tuple(line for line in (*before, noted) if line))]
        blocks = opening if opening[0].lines else []
        question = recommended = None
        if planned is None or context.one_shot:
            found = self.mind.recommender.recommend(findings)
            asked = asked or (self._to_order(found, session) if session.ordering else None)
            if planned or not asked or context.one_shot:
                recommended = self._recommended(found, session, complete=planned is None)
                blocks += self.speaker.set_blocks(found, session, planned is None, context.written)
        if asked:
            block, question = self._question(asked, session)
            blocks.append(replace(block, title=self.speaker.say("still_asks")) if recommended else block)
        session = replace(session, asked=asked, advised=recommended is not None)
        kind: Kind = "recommendation" if recommended else "question"
        return session, self._turn(replace(context, session=session), kind, blocks, question, recommended)

    def _to_order(self, found: RecommendedSet, session: Session) -> str | None:
        """The next detail that has to be settled before the set can be ordered; None where all is said or implied."""
        needed = {fact for line in found.lines for fact in self.mind.graph.items[line.item].order}
        for fact in self.mind.graph.kinds:
            mask = found.findings.state[self.mind.graph.fact_index[fact]]
            if fact in needed and mask & (mask - 1) and fact not in session.closed:
                return fact
        return None

    def _recommended(self, found: RecommendedSet, session: Session, complete: bool) -> dict[str, Any]:
        speaker = self.speaker
        lines = [
            {
                "leaf": line.leaf,
                "item": line.item,
                "quantity": line.quantity,
                "type": speaker.type(line, found),
                "size": speaker.size(line, found, session),
                "hand": speaker.ordered_by(line, "hand", session),
                "finish": speaker.ordered_by(line, "finish", session),
                "meets": list(line.meets),
                "because": list(line.because),
                "only_if": speaker.only_if(line),
            }
            for line in speaker.ordered(found)
        ]
        hedged = [
            speaker.say("assumed_hedged", fact=speaker.fact(name), value=speaker.value(name, entry.possible))
            for name, entry in session.sheet.entries.items()
            if entry.hedged
        ]
        return {
            "complete": complete and not found.unmet and not found.unmet_if,
            "lines": lines,
            "assumed": [*hedged, *speaker.assumptions(found)],
            "cautions": [*speaker.cautions(found, session), speaker.say("caution")],
            "unmet": list(speaker.unmet(found)),
            "alternatives": [
                {"arrangement": other.arrangement, "why": other.why, "text": speaker.alternative(other)}
                for other in found.alternatives
            ],
        }

    def _why(self, context: _Context, want: Want) -> tuple[Session, Turn]:
        session = context.session
        if session.contradiction:
            return self._contradiction(context)
        about_fact = want.about in self.mind.graph.kinds
        about_hardware = want.about is not None and not about_fact
        if want.about and about_fact and want.about != session.asked:
            why = self.mind.book.questions[want.about].why
            return self._answered(context, Answer((Block(lines=(why,)),), want.about, why))
        if session.asked and not about_hardware:
            return self._why_asked(context, session.asked)
        if session.sheet.entries and (session.advised or about_hardware):
            return self._why_set(context, want)
        return self._say(context, "answer", "why_nothing")

    def _why_asked(self, context: _Context, fact: str) -> tuple[Session, Turn]:
        speaker, graph = self.speaker, self.mind.graph
        findings = self.findings(context.session.sheet)
        waiting = self.mind.planner.waiting_for(fact, findings)
        rules = [graph.rules[name] for name in waiting]
        lines = tuple(
            speaker.say("why_line", rule=rule.sentence, source=speaker.source(rule.source)) for rule in rules[:4]
        )
        why = self.mind.book.questions[fact].why
        blocks = [Block(lines=(speaker.say("why_asked", why=why),))]
        if lines:
            blocks.append(Block(speaker.say("why_rules"), lines))
        block, question = self._question(fact, context.session)
        answer = {"about": fact, "value": why, "sources": [speaker.source(rule.source) for rule in rules[:4]]}
        return context.session, self._turn(context, "answer", [*blocks, block], question, answer=answer)

    def _answered(self, context: _Context, given: Answer) -> tuple[Session, Turn]:
        """An answer beside the matter in hand: the caution goes with it, and what was asked is asked again."""
        session = context.session
        blocks = [*given.blocks, Block(lines=(self.speaker.say("caution"),))]
        answer = {"about": given.about, "value": given.value, "sources": list(given.sources)}
        question = None
        if session.asked:
            block, question = self._question(session.asked, session)
            blocks.append(block)
        return session, self._turn(context, "answer", blocks, question, answer=answer)

    def _cared(self, context: _Context, given: CareAnswer, goes_on: bool = False) -> tuple[Session, Turn]:
        """An answer about a door that hangs, before what was asked, or is to be asked next where it goes on."""
        session, answer = context.session, None
        noted = self.speaker.noted(session, (heard.fact for heard in context.noted.taken))
        blocks = [
            *([Block(lines=(noted,))] if noted else []),
            *given.blocks,
            Block(lines=(self.speaker.say("caution"),)),
        ]
        if given.kind == "answer":
            answer = {"about": given.about, "value": given.value, "sources": list(given.sources)}
        if (session.asked or goes_on) and context.noted.taken and not session.contradiction:
            session, turn = self._advise(context, [])
            blocks += [block for block in turn.blocks if noted not in block.lines]
            if turn.kind == "question":
                turn = replace(turn, kind=given.kind, answer=answer)
            return session, replace(turn, blocks=tuple(blocks))
        session = replace(session, asked=session.contradiction.fact if session.contradiction else session.asked)
        question = None
        if session.asked:
            block, question = self._question(session.asked, session)
            blocks.append(block)
        return session, self._turn(replace(context, session=session), given.kind, blocks, question, answer=answer)

    def _allowed(self, context: _Context, family: str) -> tuple[Session, Turn]:
        """Whether something of a family may be used in this opening; without one, what it depends on."""
        session, speaker = context.session, self.speaker
        if not session.sheet.entries:
            return self._say(context, "answer", "care_allowed_depends", what_else=speaker.say("what_else"))
        findings = self.findings(session.sheet)
        if self.mind.chooser.allows(findings, family):
            title = speaker.say("care_allowed_title", item=speaker.family(family))
            line = speaker.say("care_allowed")
            given = Answer((Block(title, (line,)),), family, [line])
        else:
            given = self.argument.why_not(family, self.mind.recommender.recommend(findings), session)
        told = CareAnswer("answer", given.blocks, given.about, given.value, given.sources)
        return self._cared(context, told, goes_on=True)

    def _why_not(self, context: _Context, want: Want) -> tuple[Session, Turn]:
        if want.about not in self.mind.graph.families:
            return self._why(context, want)
        if not context.session.sheet.entries:
            return self._say(context, "answer", "why_nothing")
        found = self.mind.recommender.recommend(self.findings(context.session.sheet))
        return self._answered(context, self.argument.why_not(want.about, found, context.session))

    def _what_would(self, context: _Context, want: Want) -> tuple[Session, Turn]:
        if want.about not in self.mind.graph.families:
            return self._say(context, "answer", "what_would_item")
        return self._answered(context, self.argument.what_would(want.about, self.findings(context.session.sheet)))

    def _what_if(self, context: _Context) -> tuple[Session, Turn]:
        """The set under other facts beside the set as it stands; nothing is worked into the session."""
        session = context.session
        heard = context.hearing.heard
        supposed = tuple(replace(each, corrects=True) for each in heard if each.possible is not None)
        changed, noted = note(session, supposed, self.mind.graph)
        if not noted.taken:
            return self._say(context, "answer", "what_if_nothing")
        before, after = (self.mind.recommender.recommend(self.findings(one.sheet)) for one in (session, changed))
        facts = list(dict.fromkeys(heard.fact for heard in noted.taken))
        return self._answered(context, self.argument.what_if(facts, before, after, changed))

    def _forget(self, context: _Context, want: Want) -> tuple[Session, Turn]:
        session = context.session
        if want.about is None or want.about not in session.sheet.entries:
            return self._say(context, "answer", "forget_nothing")
        session = session.with_sheet(session.sheet.without(want.about))
        line = self.speaker.say("forgotten", fact=self.speaker.fact(want.about))
        return self._advise(replace(context, session=session), [line])

    def _cautions(self, context: _Context, _: Want) -> tuple[Session, Turn]:
        session = context.session
        if not session.sheet.entries:
            return self._say(context, "answer", "why_nothing")
        found = self.mind.recommender.recommend(self.findings(session.sheet))
        lines = self.speaker.cautions(found, session)
        return self._answered(
            context, Answer((Block(self.speaker.say("all_cautions"), tuple(lines)),), "cautions", lines)
        )

    def _why_set(self, context: _Context, want: Want) -> tuple[Session, Turn]:
        speaker, graph = self.speaker, self.mind.graph
        found = self.mind.recommender.recommend(self.findings(context.session.sheet))
        if want.about in graph.families and not any(self._is_about(line.item, want.about) for line in found.lines):
            return self._answered(context, self.argument.why_not(want.about, found, context.session))
        chosen = [line for line in speaker.ordered(found) if not want.about or self._is_about(line.item, want.about)]
        lines = [
            speaker.say(
                "rests_line",
                item=speaker.item(line.item),
                reasons="; ".join(speaker.reasons(line, found, context.session)),
            )
            for line in chosen
        ]
        rules = sorted({rule for line in chosen for rule in line.because})
        sources = sorted({speaker.source(graph.rules[name].source) for name in rules})
        block = Block(speaker.say("rests_on"), tuple(lines))
        if want.about and not chosen:
            lines = [speaker.say("why_not_nothing_asks")]
            block = Block(speaker.say("why_not_title", item=speaker.family(want.about)), tuple(lines))
        return self._answered(context, Answer((block,), want.about or "set", lines, tuple(sources)))

    def _is_about(self, item: str, about: str) -> bool:
        return item in self.mind.graph.items and self.mind.graph.is_a(item, about)


def _shortened(word: str) -> str:
    return word if len(word) <= 60 else f"{word[:57]}..."
