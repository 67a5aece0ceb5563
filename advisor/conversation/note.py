"""Working what was heard into a session: narrowing, correcting, contradicting; nothing said is lost."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from advisor.conversation.session import Contradiction, Session
from advisor.conversation.turn import finest
from advisor.facts import Between, Entry, FactSheet, Heard, OneOf, Possible
from advisor.knowledge.graph import KnowledgeGraph


@dataclass(frozen=True, slots=True)
class Noted:
    """What became of the things heard: worked in, impossible, or of openings that now wait under these numbers."""

    taken: tuple[Heard, ...] = ()
    impossible: tuple[Heard, ...] = ()
    elsewhere: tuple[Heard, ...] = ()
    waiting: tuple[int, ...] = ()


def note(session: Session, heard: tuple[Heard, ...], graph: KnowledgeGraph) -> tuple[Session, Noted]:
    """The session with everything heard worked in.

    What is heard narrows what was said before. Where both can't be true the session holds the contradiction, unless
    the words correct the earlier ones or answer which of the two holds. What the listener implies never contradicts.
    Not knowing a fact of which something was said keeps what was said and closes the question.
    """
    sheet = session.sheet
    open_ones = {said.fact: said for said in session.contradictions}
    settling = session.contradiction.fact if session.contradiction else None
    taken, impossible, elsewhere = [], [], []
    for each in sorted(heard, key=lambda one: one.how == "implied"):
        kind = graph.kinds.get(each.fact)
        if kind is None:
            continue
        if each.opening != 1:
            elsewhere.append(each)
            continue
        if each.possible is not None and not graph.cells[each.fact].mask(each.possible):
            impossible.append(each)
            continue
        if each.possible is not None:
            each = replace(each, possible=finest(kind, each.possible))
        before = sheet.entries.get(each.fact)
        now = Entry(each.possible, each.text, each.possible is None, each.how == "unsure" and each.possible is not None)
        settles = each.fact == settling and settling in open_ones and each.how != "implied"
        if settles:
            fitting = _fitting(open_ones[each.fact], each.possible)
            if len(fitting) > 1:
                continue
            now = replace(now, possible=fitting[0]) if fitting else now
        if settles or each.corrects:
            open_ones.pop(each.fact, None)
        replaces = settles or each.corrects or before is None or before.possible is None
        if each.possible is None and before and not replaces:
            now = replace(before, closed=True, hedged=before.hedged or _settled(before.possible))
        if not replaces and before and before.possible and each.possible:
            both = common(before.possible, each.possible)
            if both is None:
                if each.how != "implied":
                    open_ones[each.fact] = Contradiction(each.fact, before, now)
                continue
            now = before if both == before.possible and not before.hedged else replace(now, possible=both)
        sheet = sheet.with_entry(each.fact, now)
        taken.append(each)
    after = replace(session.with_sheet(sheet), contradictions=tuple(open_ones.values())).beside(
        _sheets(elsewhere, graph)
    )
    waiting = tuple(number for number, _ in after.others[len(session.others) :])
    return after, Noted(tuple(taken), tuple(impossible), tuple(elsewhere), waiting)


def _sheets(elsewhere: list[Heard], graph: KnowledgeGraph) -> list[FactSheet]:
    """A sheet for each further opening of a message, as far as what was said of it can be."""
    sheets: dict[int, FactSheet] = {}
    for each in elsewhere:
        if each.possible is not None and graph.cells[each.fact].mask(each.possible):
            possible = finest(graph.kinds[each.fact], each.possible)
            entry = Entry(possible, each.text, hedged=each.how == "unsure")
            sheets[each.opening] = sheets.get(each.opening, FactSheet()).with_entry(each.fact, entry)
    return [sheets[number] for number in sorted(sheets)]


def _settled(possible: Possible | None) -> bool:
    return possible.exact is not None if isinstance(possible, Between) else bool(possible and len(possible.values) == 1)


def _fitting(said: Contradiction, answer: Possible | None) -> list[Possible]:
    """What an answer leaves of each of two contradicting statements, where it leaves anything."""
    if answer is None:
        return []
    sides = (common(entry.possible, answer) for entry in (said.before, said.now) if entry.possible is not None)
    return [side for side in sides if side is not None]


def common(one: Possible, other: Possible) -> Possible | None:
    """What both leave possible, or None where nothing is left."""
    if isinstance(one, OneOf) and isinstance(other, OneOf):
        both = one.values & other.values
        return OneOf(both) if both else None
    if isinstance(one, OneOf) or isinstance(other, OneOf):
        choices, bounds = (one, other) if isinstance(one, OneOf) else (other, one)
        assert isinstance(choices, OneOf)
        assert isinstance(bounds, Between)
        both = frozenset(value for value in choices.values if _within(Fraction(value), bounds))
        return OneOf(both) if both else None
    low = max((end for end in (one.at_least, other.at_least) if end is not None), default=None)
    high = min((end for end in (one.at_most, other.at_most) if end is not None), default=None)
    if low is not None and high is not None and low > high:
        return None
    return Between(low, high)


def _within(value: Fraction, bounds: Between) -> bool:
    return (bounds.at_least is None or value >= bounds.at_least) and (bounds.at_most is None or value <= bounds.at_most)
