"""Look-ups: what a code, an item or a hand is, how two differ, what size, what rating by the wall.

All from the graph, with sources; nothing is worked into the opening in hand.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, get_args

from advisor.conversation.argument import Answer
from advisor.conversation.mind import Mind
from advisor.conversation.naming import Named, Names, parts_of, singular, written_parts
from advisor.conversation.note import note
from advisor.conversation.session import Session
from advisor.conversation.speak import Speaker, lowered
from advisor.conversation.turn import Block
from advisor.facts import Between, Entry, FactSheet, OneOf
from advisor.knowledge.conditions import All, AnyOf, Compare, Condition, Needs, Not, facts_read
from advisor.knowledge.lookups import Certainty, Finish, Grounds, Hand, HardwareType, Likeness, LockFunction, Sizing
from advisor.knowledge.measures import MEASURES
from advisor.listening.hearing import Hearing, Want
from advisor.logic import NO, YES
from advisor.reasoning.figures import row_text, told
from advisor.reasoning.infer import Findings

WANTS = ("look_up", "what_is", "difference")
FUNCTION, HAND = "lock_function", "hand"
FUNCTIONS, HANDS, WALL = "lock_functions", "hands", "wall_rating"
DOOR, WALL_KIND, WALL_MINUTES = "fire_rating_minutes", "wall_kind", "wall_rating_minutes"
CERTAINTIES = get_args(Certainty)
MOST_FUNCTIONS = 6
# A message of codes alone is no longer than this; characters.
LONGEST_CODE = 40
CODE = re.compile(r"[A-Za-z][ -]?\d|\d[A-Za-z]|\d{3}")
LIKENESS: Mapping[Likeness, str] = {"other_base": "base", "near": "near", "color_only": "color", "set_with": "set"}


@dataclass
class _Told:
    """Lines, data and sources as they come together."""

    lines: list[str] = field(default_factory=list)
    value: list[Any] = field(default_factory=list)
    sources: list[str] = field(default_factory=list)

    def answer(self, title: str, about: str) -> Answer:
        value = self.value[0] if len(self.value) == 1 else self.value
        sources = tuple(dict.fromkeys(self.sources))
        return Answer((Block(title, tuple(dict.fromkeys(self.lines))),), about, value, sources)


def look_up(mind: Mind, text: str, hearing: Hearing, session: Session) -> Answer | None:
    """The answer to a message that looks something up; None for any other message.

    Args:
        mind: what is known.
        text: the message.
        hearing: what was heard in it.
        session: the opening in hand, whose facts size things where the message gives none.
    """
    want = next((want for want in hearing.wants if want.name in WANTS), None)
    if want is None:
        return LookUp(mind).bare_code(text, session) if _may_be_code(text, hearing, session) else None
    others = {want.name for want in hearing.wants} - {*WANTS, "out_of_scope", "unsafe_wish"}
    if others & {"quit", "start_over", "undo", "what_if", "why", "why_not"}:
        return None
    return LookUp(mind).asked(text, want, hearing, session)


def _may_be_code(text: str, hearing: Hearing, session: Session) -> bool:
    """Whether a message without a question may be nothing but a code somebody wants told."""
    if session.contradiction or len(text) > LONGEST_CODE or not CODE.search(text):
        return False
    if "?" in text or hearing.not_understood:
        return True
    coded = all(heard.fact in ("finish", FUNCTION, HAND) for heard in hearing.heard)
    return coded and not (session.asked or session.sheet.entries)


class LookUp:
    """Looks things up with one mind."""

    def __init__(self, mind: Mind) -> None:
        self.mind, self.graph, self.lookups, self.speaker = mind, mind.graph, mind.lookups, Speaker(mind)
        self.say = self.speaker.say
        self.small = frozenset(self.say("lookup_small_words").split())

    @property
    def names(self) -> Names:
        """What can be named."""
        return self.mind.names

    # As commands

    def named(self, words: Sequence[str], kinds: Collection[str] = ()) -> Answer:
        """What the words name; that there is no entry where they name nothing.

        Args:
            words: as typed.
            kinds: the kinds of thing wanted; any where empty.
        """
        parts = written_parts(" ".join(words))
        lower = [part.lower() for part in parts]
        found = [named for named in self._leading(self.names.find(lower)) if not kinds or named.kind in kinds]
        return self.described(found, lower) if found else self.unknown(parts)

    def function_of(self, words: Sequence[str], locks: Collection[str] = ()) -> Answer:
        """A lock function by number, or by what it does."""
        parts = written_parts(" ".join(words))
        lower = [part.lower() for part in parts]
        found = [named for named in self.names.find(lower) if named.kind == "function" and named.code]
        if found:
            return self.described(found, lower)
        if len(parts) == 1 and any(sign.isdigit() for sign in parts[0]):
            return self.unknown(parts)
        return self.functions(lower, locks)

    def sizing_called(self, words: Sequence[str]) -> Sizing | None:
        """The size that goes by the words."""
        said = " ".join(parts_of(" ".join(words)))
        sizings = self.lookups.sizings.values()
        exact = next((sizing for sizing in sizings if said in (*sizing.called, sizing.name.replace("_", " "))), None)
        return exact or self._sizing_asked(parts_of(said))

    # What is meant

    def bare_code(self, text: str, session: Session) -> Answer | None:
        """The answer to a message of codes alone, where it can be no answer to what was asked."""
        words = parts_of(text)
        found = self.names.find(words)
        if not found or not all(named.code for named in found) or self._left_over(words, found):
            return None
        if session.asked in ("finish", FUNCTION, HAND) and "?" not in text:
            return None
        return self.described(found, words)

    def asked(self, text: str, want: Want, hearing: Hearing, session: Session) -> Answer | None:
        """The answer to a question; None where it asks for something else."""
        rest = _without(text, want)
        words = parts_of(rest)
        found = self._leading(self.names.find(words))
        unsafe = any(other.name == "unsafe_wish" for other in hearing.wants)
        topic = want.about if want.about in (FUNCTIONS, HANDS, WALL, *self.lookups.sizings) else None
        if topic == FUNCTIONS:
            return self.described(found, words) if self._all_codes(found, words) else self._function_asked(rest, words)
        if topic == HANDS:
            return self.described(found, words) if self._all_codes(found, words) else self._hand_asked(rest)
        if topic == WALL:
            return self.wall(self._sheet(rest, session.sheet, WALL_MINUTES))
        if topic is not None:
            sizing = self.lookups.sizings[topic]
            return self.size(sizing, self._sheet(rest, session.sheet, sizing.asks))
        wall = self._wall_asked(rest, text, found, session.sheet)
        if wall:
            return wall
        if found and not self._left_over(words, found):
            return self.described(found, words)
        finishes = self._finishes_heard(rest)
        if finishes and not found:
            return self.described([Named("finish", finishes, 0, 0, False)], words)
        sizing_asked = self._sizing_asked(parts_of(text))
        if sizing_asked and not unsafe:
            return self.size(sizing_asked, self._sheet(rest, session.sheet, sizing_asked.asks))
        if unsafe:
            return None
        return self._unclear(written_parts(rest), want, hearing)

    @staticmethod
    def _leading(found: Sequence[Named]) -> list[Named]:
        """What is named; words that only say what a code is the code of ("type 25 flush bolt") go into the code."""
        kept: list[Named] = []
        for named in found:
            last = kept[-1] if kept else None
            if last and last.end == named.start and {last.kind, named.kind} == {"type", "term"}:
                code = last if last.kind == "type" else named
                kept[-1] = replace(code, start=last.start, end=named.end)
            else:
                kept.append(named)
        return kept

    def _all_codes(self, found: Sequence[Named], words: Sequence[str]) -> bool:
        return bool(found) and all(named.code for named in found) and not self._left_over(words, found)

    def _left_over(self, words: Sequence[str], found: Iterable[Named]) -> list[str]:
        """The words that neither name anything nor say nothing."""
        taken = {at for named in found for at in range(named.start, named.end)}
        bases = {word for finish in self.lookups.finishes.values() for word in parts_of(finish.base)}
        passed = self.small | bases if any(named.kind == "finish" for named in found) else self.small
        return [word for at, word in enumerate(words) if at not in taken and word not in passed]

    def _unclear(self, words: Sequence[str], want: Want, hearing: Hearing) -> Answer | None:
        """Plainly that there is no entry, with what is near; None where the message tells of an opening."""
        left = [word for word in words if word.lower() not in self.small]
        if any(other.name not in WANTS for other in hearing.wants):
            return None
        if want.about and not hearing.heard and len(left) <= 3:
            term = next((t for t in self.lookups.terms.values() if want.about in (t.name, *t.covers)), None)
            if term:
                return self.described([Named("term", (term.name,), 0, 0, False)], words)
        if hearing.heard or not left or len(left) > 3:
            return None
        return self.unknown(left)

    def unknown(self, words: Sequence[str]) -> Answer:
        """That there is no entry for the words, and what looks like them."""
        near = self.names.near([word.lower() for word in words])
        lines = [self.say("lookup_unknown", words=" ".join(words))]
        if near:
            lines.append(self.say("lookup_near", names=self.say("lookup_and").join(near)))
        return Answer((Block(lines=tuple(lines)),), "unknown", {"words": " ".join(words), "near": near})

    def _finishes_heard(self, text: str) -> tuple[str, ...]:
        """The finishes a name such as "satin chrome" means: on every metal that has the look."""
        said = self.mind.listener.hear(text).heard
        finishes = self.lookups.finishes
        codes = [code for heard in said if isinstance(heard.possible, OneOf) for code in sorted(heard.possible.values)]
        if not said or any(heard.fact != "finish" for heard in said) or not set(codes) <= finishes.keys():
            return ()
        looks = {finishes[code].us for code in codes if finishes[code].us}
        return tuple(code for code, finish in finishes.items() if code in codes or finish.us in looks)

    def _sizing_asked(self, words: Sequence[str]) -> Sizing | None:
        """The size asked for, by the longest of its names of more than one word."""
        text = f" {' '.join(words)} "
        called = [
            (len(name), sizing)
            for sizing in self.lookups.sizings.values()
            for name in sizing.called
            if " " in name and f" {name} " in text
        ]
        return max(called, key=lambda pair: pair[0])[1] if called else None

    def _wall_asked(self, rest: str, text: str, found: Sequence[Named], sheet: FactSheet) -> Answer | None:
        said = self.mind.listener.hear(rest)
        of_wall = any(heard.fact in (WALL_KIND, WALL_MINUTES) for heard in said.heard)
        rating = {"fire_rating", "rating"} & {name for named in found for name in named.names} or "rating" in parts_of(
            text
        )
        return self.wall(self._sheet(rest, sheet, None)) if of_wall and rating else None

    def _sheet(self, text: str, sheet: FactSheet, asks: str | None) -> FactSheet:
        """The opening with what the message says of it worked in; a bare length or number answers ``asks``."""
        heard = self.mind.listener.hear(text, asks).heard
        if asks and not any(each.fact == asks for each in heard):
            heard = (*heard, *(each for each in self.mind.listener.hear(text).heard if each not in heard))
        corrected = tuple(replace(each, corrects=True) for each in heard if each.opening == 1)
        return note(Session(sheet=sheet), corrected, self.graph)[0].sheet

    # Codes, terms, hands

    def described(self, found: Sequence[Named], words: Sequence[str]) -> Answer:
        """What each thing named is, and how two of them differ."""
        distinct = list({(named.kind, named.names): named for named in found}.values())
        out = _Told()
        for named in distinct:
            self._describe(named, words, out)
        if len(distinct) == 2:
            self._differ(distinct[0], distinct[1], out)
        title = self.say("lookup_differ_title" if len(distinct) == 2 else "lookup_what_title")
        return out.answer(title, ", ".join(name for named in distinct for name in named.names))

    def _describe(self, named: Named, words: Sequence[str], out: _Told) -> None:
        if named.kind == "finish":
            finishes = self._on_base([self.lookups.finishes[name] for name in named.names], words)
            for finish in finishes:
                self._finish(finish, out)
        elif named.kind == "function":
            self._functions([self.lookups.functions[name] for name in named.names], out, full=named.code)
        elif named.kind == "hand":
            for name in named.names:
                self._hand(self.lookups.hands[name], out)
            self._notes(out)
        elif named.kind == "type":
            for entry in self._closest([self.lookups.types[name] for name in named.names], words):
                self._type(entry, out)
        else:
            self._term(named.names[0], out)

    def _tell(self, text: str, grounds: Grounds, out: _Told) -> None:
        source = self.speaker.source(grounds.source)
        out.lines.append(
            self.say("lookup_not_confirmed" if grounds.certainty == "low" else "lookup_told", text=text, source=source)
        )
        out.sources.append(source)

    def _on_base(self, finishes: Sequence[Finish], words: Sequence[str]) -> Sequence[Finish]:
        """Those on the metal the words name; all where they name none."""
        named = set(words)
        on = [finish for finish in finishes if named & set(parts_of(finish.base)) - self.small]
        exact = [finish for finish in on if set(parts_of(finish.base)) <= named]
        return exact or on or finishes

    def _finish(self, finish: Finish, out: _Told) -> None:
        key = "lookup_finish" if finish.us else "lookup_finish_plain"
        text = self.say(key, code=finish.code, us=finish.us, look=finish.look, base=finish.base)
        self._tell(text, finish.grounds, out)
        for how in LIKENESS:
            others = [self._other(code) for code, likeness in finish.like.items() if likeness == how]
            if others:
                out.lines.append(self.say(f"lookup_like_{how}", others="; ".join(others)))
        if not finish.like:
            out.lines.append(self.say("lookup_like_none"))
        out.value.append(
            {
                "bhma": finish.code,
                "us": finish.us or None,
                "look": finish.look,
                "base": finish.base,
                "like": dict(finish.like),
                "certainty": finish.grounds.certainty,
            }
        )

    def _other(self, code: str) -> str:
        other = self.lookups.finishes[code]
        text = self.say("lookup_like_one", code=code, look=other.look, base=other.base)
        return self.say("lookup_like_unsure", other=text) if other.grounds.source.basis == "from_memory" else text

    def _function(self, function: LockFunction, out: _Told) -> None:
        key = "lookup_function" if function.number else "lookup_function_unnumbered"
        lock = self.say(f"lookup_lock_{function.lock}")
        text = self.say(
            key,
            number=function.number,
            lock=lock if function.number else _capital(lock),
            called=function.called,
            inside=function.inside,
            outside=function.outside,
            use=function.use,
        )
        self._tell(text, function.grounds, out)
        self._function_value(function, out)

    def _function_value(self, function: LockFunction, out: _Told) -> None:
        out.value.append(
            {
                "number": function.number or None,
                "lock": function.lock,
                "called": function.called,
                "inside": function.inside,
                "outside": function.outside,
                "certainty": function.grounds.certainty,
            }
        )

    def _functions(self, functions: Sequence[LockFunction], out: _Told, full: bool = True) -> None:
        """Each function in full; of many only the numbered ones, and how many more there are."""
        numbered = list({function.number: function for function in reversed(functions) if function.number}.values())
        plain = numbered[::-1] or list(functions)
        shown = list(functions) if full and len(functions) <= MOST_FUNCTIONS else plain[:MOST_FUNCTIONS]
        for function in shown:
            self._function(function, out)
        if len(functions) > len(shown) and full:
            out.lines.append(self.say("lookup_functions_more", count=len(functions) - len(shown)))

    def _hand(self, hand: Hand, out: _Told) -> None:
        text = self.say(
            "lookup_hand_pair" if hand.of_pair else "lookup_hand",
            written=hand.written,
            called=hand.called,
            side=self.say(f"lookup_side_{hand.side}"),
            swings=self.say(f"lookup_swing_{hand.swings}"),
        )
        self._tell(text, hand.grounds, out)
        side = "active" if hand.of_pair else "hinges"
        out.value.append({"hand": hand.written, "called": hand.called, side: hand.side, "swings": hand.swings})

    def _notes(self, out: _Told) -> None:
        for each in self.lookups.notes.values():
            self._tell(each.says, each.grounds, out)

    def _closest(self, entries: Sequence[HardwareType], words: Sequence[str]) -> Sequence[HardwareType]:
        """The entries of one number that share most words with the question."""
        said = set(map(singular, words)) - self.small
        shared = [
            len(said & set(map(singular, parts_of(f"{entry.called} {entry.standard} {entry.grade}"))))
            for entry in entries
        ]
        return [entry for entry, count in zip(entries, shared, strict=True) if count == max(shared)]

    def _type(self, entry: HardwareType, out: _Told) -> None:
        called = self.say("lookup_type_graded", text=entry.called, grade=entry.grade) if entry.grade else entry.called
        key = "lookup_type" if entry.number else "lookup_type_unnumbered"
        text = self.say(key, number=entry.number, standard=entry.standard, called=called, means=_capital(entry.means))
        self._tell(text, entry.grounds, out)
        out.value.append(
            {
                "number": entry.number or None,
                "standard": entry.standard,
                "called": entry.called,
                "grade": entry.grade or None,
                "means": entry.means,
                "certainty": entry.grounds.certainty,
            }
        )

    def _term(self, name: str, out: _Told) -> None:
        term = self.lookups.terms[name]
        self._tell(self.say("lookup_term", called=_capital(term.called[0]), sentence=term.sentence), term.grounds, out)
        titles = dict.fromkeys(self.speaker.short(item) for item in term.covers if item in self.graph.items)
        if titles:
            out.lines.append(self.say("lookup_term_items", items="; ".join(titles)))
        out.value.append(
            {"name": name, "called": term.called[0], "is": term.sentence, "certainty": term.grounds.certainty}
        )

    # How two differ

    def _differ(self, one: Named, other: Named, out: _Told) -> None:
        if one.kind != other.kind:
            return
        first, second = one.names[0], other.names[0]
        if one.kind == "finish":
            self._differ_finishes(one.names, other.names, out)
        elif one.kind == "function":
            self._differ_functions(self.lookups.functions[first], self.lookups.functions[second], out)
        elif one.kind == "term":
            self._differ_terms(first, second, out)

    def _differ_finishes(self, ones: Sequence[str], others: Sequence[str], out: _Told) -> None:
        pairs = [(one, other) for one in ones for other in others]
        pairs += [(other, one) for one, other in pairs]
        how = next((likeness for one, other in pairs if (likeness := self.lookups.finishes[one].like.get(other))), None)
        out.lines.append(self.say(f"lookup_finish_differ_{LIKENESS[how] if how else 'none'}"))

    def _differ_functions(self, one: LockFunction, other: LockFunction, out: _Told) -> None:
        for side, here, there in (("inside", one.inside, other.inside), ("outside", one.outside, other.outside)):
            if here == there:
                out.lines.append(self.say(f"lookup_same_{side}"))
            else:
                out.lines.append(self.say(f"lookup_differ_{side}", one=here, other=there))

    def _differ_terms(self, one: str, other: str, out: _Told) -> None:
        """What the glossary holds against each other, and what only one of them does in the graph."""
        terms = self.lookups.terms
        for term, against in ((terms[one], other), (terms[other], one)):
            if against in term.against:
                self._tell(term.against[against], term.grounds, out)
        gives = {name: self._gives(terms[name].covers) for name in (one, other)}
        if not all(gives.values()):
            return
        for name, against in ((one, other), (other, one)):
            only = frozenset.intersection(*gives[name]) - frozenset.union(*gives[against])
            meanings = [self.graph.requirements[requirement].meaning for requirement in sorted(only)]
            if meanings:
                called = terms[name].called[0]
                out.lines.append(self.say("lookup_differ_only", name=called, meanings=" ".join(meanings)))

    def _gives(self, covers: Iterable[str]) -> list[frozenset[str]]:
        return [
            self.graph.items[item].gives for item in covers if item in self.graph.items and self.graph.items[item].gives
        ]

    # Lock functions by what they do

    def _function_asked(self, text: str, words: Sequence[str]) -> Answer:
        said = self.mind.listener.hear(text)
        kinds = {fact: _values(said, fact) for fact in ("lock_kind", FUNCTION)}
        locks = {"bored_lock": "bored", "mortise_lock": "mortise", "exit_device": "exit_device"}
        return self.functions(words, {locks[kind] for kind in kinds["lock_kind"] if kind in locks}, kinds[FUNCTION])

    def functions(self, words: Sequence[str], locks: Collection[str] = (), same_as: Collection[str] = ()) -> Answer:
        """The lock functions that do what the words say, those that fit equally well all told.

        Args:
            words: the behaviour in the customer's words.
            locks: the kinds of lock asked for; any where empty.
            same_as: values of the fact ``lock_function`` the words name.
        """
        said = set(map(singular, words))
        scores = {
            name: self._fit(function, said) + (2 if function.same_as in same_as else 0)
            for name, function in self.lookups.functions.items()
            if not locks or function.lock in locks
        }
        best = max(scores.values(), default=0)
        if not best:
            return Answer((Block(lines=(self.say("lookup_functions_none"),)),), FUNCTION, [])
        chosen = [self.lookups.functions[name] for name, score in scores.items() if score == best]
        chosen.sort(key=lambda function: CERTAINTIES.index(function.grounds.certainty))
        out = _Told()
        if len(chosen) > 1:
            out.lines.append(self.say("lookup_functions_alike"))
        self._functions(chosen, out)
        return out.answer(self.say("lookup_functions_title"), FUNCTION)

    def _fit(self, function: LockFunction, said: Collection[str]) -> int:
        """How many words of the ways to put it, each wholly said, the message has."""
        ways = [set(map(singular, parts_of(way))) for way in (*function.behaves, *function.called.split(","))]
        matched = [frozenset(way) for way in ways if way and way <= set(said) and way - self.small]
        return len(frozenset().union(*matched) - self.small)

    # Hands

    def _hand_asked(self, text: str) -> Answer:
        hands = {hand.name: hand for hand in self.lookups.hands.values() if not hand.of_pair}
        side, swings = None, None
        heard = [each for part in self._clauses(text) for each in self.mind.listener.hear(part).heard]
        values = [h.possible.values for h in heard if h.fact == HAND and isinstance(h.possible, OneOf)]
        for possible in sorted(values, key=len, reverse=True):
            known = [hands[name] for name in possible if name in hands]
            sides, swing = {hand.side for hand in known}, {hand.swings for hand in known}
            side = side or (next(iter(sides)) if len(sides) == 1 else None)
            swings = swings or (next(iter(swing)) if len(swing) == 1 else None)
        active = self._active_words() & set(parts_of(text))
        return self.hand(side, swings, of_pair=bool(active))

    def _clauses(self, text: str) -> list[str]:
        """The message cut at commas and joining words: hinge side and swing are told one beside the other."""
        joints = "|".join(self.say("lookup_joints").split())
        return [part for part in re.split(rf"[,;.?]|\b(?:{joints})\b", text) if part.strip()]

    def _active_words(self) -> set[str]:
        """The words only the hands of pairs are called by."""
        called: dict[bool, set[str]] = {True: set(), False: set()}
        for hand in self.lookups.hands.values():
            called[hand.of_pair].update(parts_of(hand.called))
        return called[True] - called[False]

    def hand(self, side: str | None, swings: str | None, of_pair: bool = False) -> Answer:
        """The hand by the side of the hinges (of the active leaf of a pair) and the swing, seen from outside."""
        fitting = [
            hand
            for hand in self.lookups.hands.values()
            if hand.of_pair == of_pair and (hand.side == side or not side) and (hand.swings == swings or not swings)
        ]
        out = _Told()
        if not side or not swings:
            out.lines.append(self.say("lookup_hand_unclear"))
        for hand in fitting:
            self._hand(hand, out)
        self._notes(out)
        return out.answer(self.say("lookup_hand_title"), HAND)

    # Sizes

    def size(self, sizing: Sizing, sheet: FactSheet) -> Answer:
        """Everything a size rests on for an opening; where a fact is open, the rows or the facts it hangs on."""
        judge = self.mind.judge
        findings = judge.infer(judge.said(sheet))
        out = _Told()
        for name in sizing.shows:
            self._shown(name, findings, sheet, out)
        for name in sizing.rules:
            self._ruled(name, findings, out)
        if not out.lines:
            out.lines.append(self.say("lookup_size_does_not_apply"))
        reads = {fact for name in sizing.shows for fact in self._reads(name)}
        out.lines += self._assumed(reads, findings)
        return out.answer(sizing.title, sizing.name)

    def _reads(self, name: str) -> frozenset[str]:
        graph = self.graph
        figure = graph.figures.get(name)
        table = graph.tables.get(figure.table if figure and figure.table else name)
        if table:
            return frozenset(fact for row in table.rows for fact in facts_read(row.when))
        return frozenset(MEASURES[figure.measure].reads) if figure else frozenset()

    def _shown(self, name: str, findings: Findings, sheet: FactSheet, out: _Told) -> None:
        graph, judge = self.graph, self.mind.judge
        figure = graph.figures.get(name)
        part = figure or graph.tables[name]
        table = graph.tables.get(figure.table if figure and figure.table else name)
        label = table.meaning if table else figure.label if figure else name
        text, waits = told(judge, name, findings, sheet)
        source = self.speaker.source(part.source)
        lines = []
        if text is not None and waits:
            lines.append(self.say("lookup_size_open", label=label, text=text, facts=self.speaker.facts(waits)))
        elif text is not None:
            lines.append(self.say("lookup_size_line", label=label, text=text))
        elif waits and table:
            for row in table.rows:
                value = row_text(judge, name, row.value)
                if value and judge.truth(row.when, findings) != NO:
                    condition = self._condition(row.when, waits)
                    lines.append(self.say("lookup_size_row", label=label, condition=condition, text=value))
        if waits and not lines:
            lines.append(self.say("lookup_size_waits", label=label, facts=self.speaker.facts(waits)))
        for line in lines:
            out.lines.append(self.say("lookup_told", text=line, source=source))
        if lines:
            out.sources.append(source)
            out.value.append({"name": name, "label": label, "text": text, "waits_for": sorted(waits)})

    def _ruled(self, name: str, findings: Findings, out: _Told) -> None:
        judge = self.mind.judge
        rule, verdict = self.graph.rules[name], findings.rules[judge.rule_index[name]]
        if verdict == NO:
            return
        source = self.speaker.source(rule.source)
        said = rule.targets[0] if rule.effect == "cautions" else rule.sentence
        fields = {"text": said, "rule": rule.sentence}
        if verdict == YES:
            line = self.say("lookup_rule", **fields)
        else:
            waits = judge.waits_for(judge.rule_clause(name).condition, findings)
            line = self.say("lookup_rule_if", condition=self._condition(rule.condition, waits), **fields)
        out.lines.append(self.say("lookup_told", text=line, source=source))
        out.sources.append(source)
        out.value.append({"rule": name, "text": said, "applies": True if verdict == YES else None})

    def _assumed(self, facts: Iterable[str], findings: Findings) -> Iterator[str]:
        """What nobody said and the size rests on."""
        for fact in sorted(facts):
            at = self.graph.fact_index[fact]
            presumed = self.graph.kinds[fact].presumed
            if presumed is not None and findings.said[at] != findings.state[at]:
                value = self.speaker.bits(fact, findings.state[at])
                yield self.say("lookup_assumed", fact=self.speaker.fact(fact), value=value)

    def _condition(self, condition: Condition, waits: Collection[str]) -> str:
        """The part of a condition that hangs on open facts, in words."""
        if isinstance(condition, All | AnyOf):
            joint = "condition_and" if isinstance(condition, All) else "condition_or"
            parts = [part for part in condition.parts if isinstance(part, Needs) or facts_read(part) & frozenset(waits)]
            return self.say(joint).join(filter(None, (self._condition(part, waits) for part in parts)))
        if isinstance(condition, Not):
            return self.say("lookup_not", condition=self._condition(condition.part, waits))
        if isinstance(condition, Needs):
            return lowered(self.graph.requirements[condition.requirement].meaning)
        return self.say("lookup_is", fact=self.speaker.fact(condition.fact), value=self._compared(condition))

    def _compared(self, compare: Compare) -> str:
        if not compare.bounds:
            return self.speaker.value(compare.fact, OneOf(compare.choices))
        bounds = dict(compare.bounds)
        if bounds.get("at_least") is not None and bounds.get("at_least") == bounds.get("at_most"):
            return self.speaker.value(compare.fact, Between(bounds["at_least"], bounds["at_least"]))
        return (
            self.say("condition_and")
            .join(
                self.say(
                    f"lookup_{bound}",
                    low=self.speaker.number(compare.fact, limit),
                    high=self.speaker.number(compare.fact, limit),
                )
                for bound, limit in compare.bounds
            )
            .strip()
        )

    # The rating by the wall

    def wall(self, sheet: FactSheet) -> Answer:
        """The door's rating that follows from its wall; for each kind of wall where the kind is open."""
        out = _Told()
        kinds = self.graph.kinds[WALL_KIND].choices
        open_kind = WALL_KIND not in sheet.entries or sheet.entries[WALL_KIND].closed
        if open_kind and WALL_MINUTES not in sheet.entries:
            implied = self._findings(sheet).state[self.graph.fact_index[WALL_KIND]]
            if implied == self.graph.cells[WALL_KIND].full:
                out.lines.append(self.say("lookup_wall_need"))
                return out.answer(self.say("lookup_wall_title"), WALL)
        sheet = sheet.without(DOOR)
        findings = self._findings(sheet)
        for kind in kinds if open_kind else (None,):
            of_kind = sheet.with_entry(WALL_KIND, Entry(OneOf(frozenset((kind,))))) if kind else sheet
            for minutes in (None,) if kind else self._open_minutes(findings):
                entry = Entry(OneOf(frozenset((minutes,)))) if minutes else None
                case = of_kind.with_entry(WALL_MINUTES, entry) if entry else of_kind
                self._wall(case, out, terse=bool(kind or minutes))
        return out.answer(self.say("lookup_wall_title"), WALL)

    def _open_minutes(self, findings: Findings) -> Sequence[str | None]:
        """The ratings a wall may still have, where there are several."""
        possible = self.graph.cells[WALL_MINUTES].possible(findings.state[self.graph.fact_index[WALL_MINUTES]])
        choices = self.graph.kinds[WALL_MINUTES].choices
        left = [choice for choice in choices if isinstance(possible, OneOf) and choice in possible.values]
        return left if len(left) > 1 else (None,)

    def _rating(self, bits: int) -> str:
        """A door's rating in words; several up to the highest are "at least" the lowest."""
        kind, possible = self.graph.kinds[DOOR], self.graph.cells[DOOR].possible(bits)
        steps = [choice for choice in kind.choices if isinstance(possible, OneOf) and choice in possible.values]
        if len(steps) > 1 and steps == list(kind.choices[kind.choices.index(steps[0]) :]):
            return self.say("value_at_least", low=self.speaker.value(DOOR, OneOf(frozenset(steps[:1]))))
        return self.speaker.bits(DOOR, bits)

    def _findings(self, sheet: FactSheet) -> Findings:
        return self.mind.judge.infer(self.mind.judge.said(sheet))

    def _wall(self, sheet: FactSheet, out: _Told, terse: bool) -> None:
        graph, judge, speaker = self.graph, self.mind.judge, self.speaker
        findings = self._findings(sheet)
        door, full = findings.state[graph.fact_index[DOOR]], graph.cells[DOOR].full
        minutes = findings.state[graph.fact_index[WALL_MINUTES]]
        wall = speaker.bits(WALL_KIND, findings.state[graph.fact_index[WALL_KIND]])
        if minutes != graph.cells[WALL_MINUTES].full:
            wall = self.say("lookup_wall_case", wall=wall, minutes=speaker.bits(WALL_MINUTES, minutes))
        implying = [rule for rule in graph.implying.get(DOOR, ()) if findings.rules[judge.rule_index[rule.name]] == YES]
        if door == full or not implying:
            if not terse:
                out.lines.append(self.say("lookup_wall_open", wall=_capital(wall)))
            return
        sources = [speaker.source(rule.source) for rule in implying]
        rating = self._rating(door)
        text = self.say("lookup_wall_line", wall=_capital(wall), rating=rating)
        out.lines.append(self.say("lookup_told", text=text, source="; ".join(dict.fromkeys(sources))))
        out.sources += sources
        out.value.append({"wall": wall, "rating": rating, "rules": [rule.name for rule in implying]})
        if terse:
            return
        for rule in graph.cautioning():
            near = rule.name.startswith(f"{implying[0].name.split('/')[0]}/")
            if near and findings.rules[judge.rule_index[rule.name]] == YES:
                source = speaker.source(rule.source)
                out.lines.append(self.say("lookup_told", text=rule.targets[0], source=source))
                out.sources.append(source)


def _without(text: str, want: Want) -> str:
    """A message without the words that ask; a word they reach into stays whole."""
    start, end = want.start, want.end
    if text[end - 1 : end].isalnum() and text[end : end + 1].isalnum():
        while end > start and text[end - 1].isalnum():
            end -= 1
    return f"{text[:start]} {text[end:]}"


def _values(hearing: Hearing, fact: str) -> set[str]:
    """The values heard of a choice fact, where what was heard leaves few."""
    return {
        value
        for heard in hearing.heard
        if heard.fact == fact and isinstance(heard.possible, OneOf) and len(heard.possible.values) <= 2
        for value in heard.possible.values
    }


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
