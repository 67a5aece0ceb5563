"""A message as parts: what each phrase means where it stands, and what the words around it do to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from advisor.listening.measures import Measure
from advisor.listening.phrases import Match, meaning
from advisor.phrasebook.book import Term

# Wants whose words are a question about what follows, not a statement of it.
_QUESTIONS = frozenset({"why", "why_not", "is_allowed", "look_up", "help"})
_ENDS = frozenset(".!?;")
_JOINTS = frozenset([",", ".", "!", "?", ";", ":", "-", "and", "but", "so", "said", "says"])
_AND_A = frozenset((joint, article) for joint in ("and", "also", "plus", "then") for article in ("a", "an", "one"))
# Before a count and the leaves it counts: "and 2 singles".
_JOINING = frozenset(("and", "also", "plus", "then", "&", "+", ",", ";"))
_NEEDS = frozenset(["required", "needed", "necessary", "allowed", "permitted", "mandatory", "acceptable"])


@dataclass(slots=True)
class Part:
    """A phrase or measure of the message and what the words around it do to it.

    Attributes:
        start, end: its words, the last excluded.
        term: what it means; None for a measure that stands in no phrase.
        match: the phrase found.
        readings: several meanings only the customer can tell apart.
        denied, hedged, corrects: a negation, a hedge or a correction bears on it.
        asked: it stands in a question and is not stated ("does it have to be rated").
        unknown: the customer doesn't know it.
        dropped: taken back in the same breath ("instead of wood").
        joined: "or" joins it to the part before.
        opening: the opening it speaks of, from 1.
    """

    start: int
    end: int
    term: Term | None
    match: Match
    readings: tuple[Term, ...] = ()
    denied: bool = False
    hedged: bool = False
    corrects: bool = False
    asked: bool = False
    unknown: bool = False
    dropped: bool = False
    joined: bool = False
    opening: int = 1

    @property
    def mark(self) -> str | None:
        """The part it plays in the sentence, if that is its meaning."""
        return self.term.marks if self.term else None

    @property
    def measure(self) -> Measure | None:
        """The measure it is, where it is one and nothing else."""
        return self.match.measures[0] if self.term is None and self.match.measures else None

    @property
    def tells(self) -> bool:
        """Whether it can be denied, hedged or corrected: it says, names or mentions something."""
        if self.term is None:
            return bool(self.match.measures)
        return bool(self.term.says or self.term.mentions or self.term.names or self.term.implies)


class Sentence:
    """The parts of a message in order, with scope worked out.

    Attributes:
        words: the words in lower case, misspellings mended.
        breaks: whether a new line begins with the word.
        parts: the parts.
        lists: the phrasebook's word lists.
        asked: the fact just asked about; ``yes_no`` where yes or no answers it.
    """

    def __init__(
        self,
        words: Sequence[str],
        breaks: Sequence[bool],
        matches: Sequence[Match],
        lists: Mapping[str, frozenset[str]],
        asked: str | None,
        yes_no: bool = False,
    ) -> None:
        self.words, self.breaks, self.lists = words, breaks, lists
        self.asked, self.yes_no = asked, yes_no
        self.parts: list[Part] = []
        for match in matches:
            terms = meaning(match, words, asked) if match.terms else ()
            if match.terms and not terms:
                self.parts.extend(Part(m.start, m.end, None, Match(m.start, m.end, (), (m,))) for m in match.measures)
                continue
            several = len(terms) > 1
            term = None if several or not terms else terms[0]
            self.parts.append(Part(match.start, match.end, term, match, readings=terms if several else ()))
        self._scopes()
        self._backward()
        self._openings()

    def between(self, one: Part, other: Part) -> Sequence[str]:
        """The words between two parts."""
        return self.words[one.end : other.start]

    def _scopes(self) -> None:
        """Everything that reaches forward: negation, hedges, corrections, questions, not knowing, taking back."""
        light = self.lists["light"]
        negation: Part | None = None
        hedge: Part | None = None
        taking_back: Part | None = None
        asking = unknown = corrects = False
        last: Part | None = None
        at = 0
        for part in self.parts:
            for place in range(at, part.start):
                word = self.words[place]
                if word in _ENDS or self.breaks[place]:
                    asking = unknown = False
                    negation = hedge = taking_back = None
                elif word == ",":
                    unknown = False
                    taking_back = None
                    aside = hedge is not None and hedge.end == place and self.words[hedge.start - 1] == ","
                    hedge = hedge if aside else None
                    following = self.words[place + 1] if place + 1 < len(self.words) else ""
                    asking = asking and following not in self.lists["openers"]
                elif word in self.lists["prepositions"]:
                    asking = False
            at = part.end
            if self.breaks[part.start]:
                asking = unknown = False
                negation = hedge = taking_back = None
            mark = part.mark
            if mark in ("negation", "doubt", "no", "neither"):
                negation = part
            if mark in ("hedge", "doubt"):
                hedge = part
            if mark == "correction" and not self.answers_no(part):
                corrects = True
                asking = unknown = False
                hedge = taking_back = None
            elif mark == "takes_back":
                taking_back = part
            elif mark == "unsure":
                unknown = not part.tells
            elif mark == "but":
                asking = unknown = False
                negation = hedge = taking_back = None
            elif mark == "asking" or self._questions(part) or (mark == "asking_first" and self._asks(part)):
                asking = not unknown
            if not part.tells and not part.readings:
                continue
            gap = self.words[negation.end : part.start] if negation else ()
            if negation is not None:
                if negation.mark == "no":
                    near = not gap and self.words[part.start] not in self.lists["openers"]
                else:
                    near = len(gap) <= 5 and all(word in light for word in gap)
                part.denied = near
            if last is not None and last.denied and not part.denied:
                joint = set(self.between(last, part))
                part.denied = bool(joint & {"or", "nor"}) and joint <= {"or", "nor", ",", "a", "an", "any", "the"}
            if last is not None:
                joint = set(self.between(last, part))
                part.joined = bool(joint & {"or", "/"}) and joint <= {
                    "or",
                    "/",
                    ",",
                    "a",
                    "an",
                    "the",
                    "maybe",
                    "possibly",
                }
            if hedge is not None:
                part.hedged = True
                hedge = hedge if part.term is not None and part.term.names else None
            if taking_back is not None and len(self.between(taking_back, part)) <= 3:
                part.dropped = True
                taking_back = None
            part.corrects, part.unknown = corrects, unknown or mark == "unsure"
            part.asked = asking
            last = part

    @staticmethod
    def _questions(part: Part) -> bool:
        """Whether a want asks about what follows: "why the closer", "how much is a panic bar"."""
        term = part.term
        return term is not None and (
            term.wants in _QUESTIONS or (term.wants == "out_of_scope" and term.about == "price")
        )

    def is_answer(self, part: Part) -> bool:
        """Whether a yes or no stands as an answer of its own: "no, …", "…, and yes it is", not "no closer"."""
        at = part.start
        while at and not self.breaks[at] and self.words[at - 1] in self.lists["around"]:
            at -= 1
        if at and not self.breaks[at] and self.words[at - 1] not in _JOINTS:
            return False
        return part.mark == "yes" or self._ends(part) or self.words[part.end] in self.lists["answering"]

    def answers_no(self, part: Part) -> bool:
        """Whether "no, it's …" answers a question that yes or no answers, where else it corrects what was said."""
        words = self.words[part.start : part.end]
        empty = self.lists["around"] | self.lists["filler"]
        first = all(word in empty or not word.isalnum() for word in self.words[: part.start])
        return self.yes_no and first and words[0] == "no" and words[-1] in ("it's", "its")

    def _asks(self, part: Part) -> bool:
        """Whether words that ask only at the beginning ("is it") stand there; "is the" asks only with a "?"."""
        before = self.words[part.start - 1] if part.start and not self.breaks[part.start] else "."
        first = before in _ENDS or before in (",", "and", "but", "so", "also", "or", "hi", "hello", "hey", "then", ":")
        plain = self.words[part.end - 1] in ("it", "this", "that", "they", "there")
        rest = self.words[part.end :]
        return first and (plain or "?" in rest or not _NEEDS.isdisjoint(rest))

    def _backward(self) -> None:
        """Everything that reaches back: "closer not needed", "90, I think", "90 min?", "sprinklers: no"."""
        question = any(part.mark == "asking" or (part.term and part.term.wants) for part in self.parts)
        for place, part in enumerate(self.parts):
            if not part.tells:
                continue
            later = self.parts[place + 1 :]
            if part.term and part.term.names:
                later = [other for other in later[:2] if other.mark != "asking_first"]
            following = later[0] if later else None
            after = self.words[part.end : part.end + 1]
            at_end = part.end + 1 >= len(self.words) or (
                following is not None and following.start == part.end + 1 and following.mark in ("hedge", "unsure")
            )
            if after == ["?"] and at_end and not question and part.term is not None and not part.term.names:
                part.hedged = True
            if after == ["?"] and at_end and not question and part.measure is not None:
                part.hedged = True
            if following is None:
                continue
            gap = set(self.between(part, following))
            ends = self._ends(following)
            if (following.mark == "negation_after" and gap <= self.lists["inside"] | {":", "=", "-"}) or (
                following.mark == "no" and ends and gap <= {":", "=", "-", "?"} and not (gap == set() and part.measure)
            ):
                part.denied = True
            elif following.mark == "hedge" and gap <= {",", "-", "("} and ends:
                part.hedged = True
            elif (
                following.mark == "unsure"
                and gap <= {",", "-", "(", "?", ":", "is", "are"}
                and ends
                and part.term
                and part.term.names
            ):
                part.unknown = True

    def _ends(self, part: Part) -> bool:
        at = part.end
        while at < len(self.words) and self.words[at] in self.lists["polite"]:
            at += 1
        return at >= len(self.words) or self.words[at] in ",.;!?)" or self.breaks[at]

    def _openings(self) -> None:
        """Number the openings: "another door …", "second opening …", a second size on a new line or after "and a"."""
        begins: list[int] = []
        told = False
        for part in self.parts:
            if told and (part.mark == "next_opening" or self._counts_on(part)):
                begins.append(part.start)
            told = told or part.tells or part.mark == "this_opening"
        for telling in (self._sized, self._leaved):
            places = [part for part in self.parts if telling(part)]
            for one, other in pairwise(places):
                if not any(one.end <= begin <= other.start for begin in begins):
                    begins.extend(self._separator(one.end, other.start, telling == self._leaved))
        for part in self.parts:
            part.opening = 1 + sum(begin <= part.start for begin in begins)

    def _counts_on(self, part: Part) -> bool:
        """Whether "second" or "third" counts openings: "second a single 3070", not "the second leaf"."""
        if self.asked or part.mark not in ("ordinal_2", "ordinal_3", "ordinal_4") or part.end >= len(self.words):
            return False
        following = next((other for other in self.parts if other.start >= part.end), None)
        near = following is not None and following.start - part.end <= 2
        return near and following is not None and (self._leaved(following) or self._sized(following))

    @staticmethod
    def _sized(part: Part) -> bool:
        return any(measure.kind == "size" for measure in part.match.measures)

    @staticmethod
    def _leaved(part: Part) -> bool:
        said = part.term is not None and ("leaves" in part.term.says or part.mark == "this_opening")
        return said and not (part.denied or part.corrects or part.joined or part.asked)

    def _separator(self, start: int, end: int, leaves: bool) -> list[int]:
        """Where between two sizes, or two statements of the leaves, another opening begins, if it does."""
        for at in range(start, end + 1):
            if not leaves and (self.breaks[at] or self.words[at] == ";"):
                return [at]
            if tuple(self.words[at : at + 2]) in _AND_A or (leaves and self.words[at] == "another"):
                return [at]
            if self.words[at] in ",;." and self.words[at + 1 : at + 2] == ["one"] and leaves and at + 1 >= end - 1:
                return [at]
            if leaves and self.words[at] in _JOINING and at + 2 == end and self.words[at + 1].isdecimal():
                return [at]
        return []
