"""From the parts of a message to facts heard, wants, mentions, and what stays unclear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from advisor.facts import Between, FactKind, Heard, How, OneOf, Possible
from advisor.listening.answers import answer, decision
from advisor.listening.hearing import Ambiguity, Hearing, Mention, Want
from advisor.listening.measures import Measure
from advisor.listening.phrases import slot_measure
from advisor.listening.sentence import Part, Sentence
from advisor.listening.sizes import OPENING, Leaf, leaf_sizes
from advisor.listening.values import agree, complement, overlap, possible_of, within
from advisor.phrasebook.book import Phrasebook, Slot, Term

# Ratings said as a bare number with nothing asked are asked about, not guessed.
_RATINGS = frozenset({20, 45, 60, 90, 180})
_ABOUT = frozenset({"why", "why_not", "is_allowed", "look_up", "unsafe_wish", "what_if", "what_would", "forget"})


_DOORS = frozenset(["door", "doors", "leaf", "leaves"])
_IS = frozenset(["is", "are", "was", "were", "isn't", "aren't", "it's", "has", "have", "wall's"])
_OF_WALL = _IS | frozenset(["and", "just", "only", "not", "a", "an", "the"])


@dataclass(slots=True)
class Found:
    """A fact found in the words from start to end (excluded); ``weak`` where it only follows from them."""

    fact: str
    possible: Possible | None
    start: int
    end: int
    how: How
    part: Part
    weak: bool = False


class Reader:
    """Reads sentences with a phrasebook and the facts' kinds."""

    def __init__(self, book: Phrasebook, kinds: Mapping[str, FactKind]) -> None:
        self.book, self.kinds = book, kinds

    def read(
        self,
        sentence: Sentence,
        text: str,
        places: Sequence[tuple[int, int]],
        asked: str | None,
        units: str | None,
    ) -> Hearing:
        """What the sentence says.

        Args:
            sentence: the parts of the message.
            text: the message.
            places: where each word stands in it.
            asked: the fact just asked about.
            units: the unit of lengths said without one.
        """
        one = _Reading(self, sentence, asked, units)
        one.run()

        def spot(start: int, end: int) -> tuple[str, int, int]:
            first, last = places[start][0], places[end - 1][1]
            return text[first:last], first, last

        heard = tuple(
            Heard(f.fact, f.possible, *spot(f.start, f.end), f.how, f.part.opening, f.part.corrects, _entry(f, asked))
            for f in one.found
        )
        wants = tuple(Want(name, *spot(start, end), about) for name, start, end, about in one.wants)
        mentions = tuple(Mention(item, *spot(start, end), denied) for item, start, end, denied in one.mentions)
        ambiguous = tuple(Ambiguity(*spot(start, end), readings) for start, end, readings in one.ambiguous)
        left = tuple(spot(start, end)[0] for start, end in one.left())
        return Hearing(heard, wants, mentions, ambiguous, left)


def _entry(found: Found, asked: str | None) -> str:
    """The phrasebook entry a fact was heard by, or what kind of measure it is."""
    if found.part.term is not None:
        return found.part.term.name
    if found.part.match.measures:
        return f"measures/{found.part.match.measures[0].kind}"
    return f"questions/{asked}"


class _Reading:
    """One message being read."""

    def __init__(self, reader: Reader, sentence: Sentence, asked: str | None, units: str | None) -> None:
        self.book, self.kinds = reader.book, reader.kinds
        self.sentence, self.words = sentence, sentence.words
        self.asked = asked if asked in reader.kinds else None
        self.units = units
        self.found: list[Found] = []
        self.wants: list[tuple[str, int, int, str | None]] = []
        self.mentions: list[tuple[str, int, int, bool]] = []
        self.ambiguous: list[tuple[int, int, tuple[str, ...]]] = []
        self.covered: set[int] = set()
        self.swallowed: list[tuple[int, int]] = []

    def run(self) -> None:
        """Fill everything in."""
        parts = self.sentence.parts
        for part in parts:
            if part.term is not None or part.readings:
                self.covered.update(range(part.start, part.end))
        self._sizes()
        for part in parts:
            if part.readings:
                self.ambiguous.append((part.start, part.end, tuple(f"reads_as.{term.name}" for term in part.readings)))
            elif part.term is not None:
                self._term(part)
            elif part.measure is not None:
                self._measure(part)
        self._answers()
        self._tidy()
        self._wants()

    # Phrases

    def _term(self, part: Part) -> None:
        term = part.term
        assert term is not None
        if term.mentions and not part.dropped:
            self.mentions.append((term.mentions, part.start, part.end, part.denied))
        if term.readings:
            self.ambiguous.append((part.start, part.end, term.readings))
        if part.dropped:
            return
        if term.names and part.unknown and not part.asked:
            self._add(part, term.names, None)
        if part.asked and not part.unknown:
            return
        if "leaves" in term.says and self._counts_hardware(part):
            return
        following = next((other for other in self.sentence.parts if other.start == part.end), None)
        if term.before and following is not None and self._counts_hardware(following):
            return
        says = dict(term.says)
        if part.denied and term.denied is not None:
            says = dict(term.denied)
        missed = bool(says)
        for fact, said in says.items():
            fact, possible = self._retargeted(part, fact, said)
            if part.unknown:
                self._add(part, fact, None)
                missed = False
                continue
            if possible is None:
                continue
            if part.denied and term.denied is None:
                possible = complement(possible, self.kinds[fact])
                if possible is None:
                    missed = False
                    continue
            missed = False
            if fact == "leaf_width_in" and self._of_opening(part, possible):
                self.ambiguous.append((part.start, part.end, ("reading_wide_pair", "reading_wide_single")))
            else:
                self._add(part, fact, possible)
        if missed and any(isinstance(said, Slot) for said in says.values()):
            self.covered.difference_update(range(part.start, part.end))
        if not part.denied and not part.unknown:
            for fact, possible in term.implies.items():
                self._add(part, fact, possible, weak=True)

    def _counts_hardware(self, part: Part) -> bool:
        """Whether a pair is one of hinges or bolts, not of leaves: "a pair of hinges", "3 pair hinges"."""
        following = next((other for other in self.sentence.parts if other.start >= part.end), None)
        if following is None or following.term is None or not following.term.mentions:
            return False
        gap = self.sentence.between(part, following)
        if gap not in ([], ["of"]):
            return False
        before = self.words[part.start - 1] if part.start else ""
        counted = before.isdecimal() or before in self.book.measures.numbers
        return self.words[following.start - 1] == "of" or counted

    def _of_opening(self, part: Part, possible: Possible) -> bool:
        """Whether a width is too great to be taken for one leaf's unless a leaf is named."""
        said = {"leaf", "leaves", "each", "active", "per"} & set(self.words[part.start : part.end])
        width = possible.exact if isinstance(possible, Between) else None
        return width is not None and width >= OPENING and not said

    def _retargeted(self, part: Part, fact: str, said: Possible | Slot) -> tuple[str, Possible | None]:
        """What a phrase says of a fact, or of the fact asked about where the value suits it ("wood" of a frame)."""
        term, asked = part.term, self.asked
        assert term is not None
        if isinstance(said, Slot):
            measure = slot_measure(said, part.match)
            if measure is None:
                return fact, None
            if fact == "fire_rating_minutes" and self._wall_is(part):
                fact = "wall_rating_minutes"
            return fact, possible_of(measure, self.kinds[fact], said.bound, self.units, self.book.measures.lengths)
        if fact == "fire_rating_minutes" and isinstance(said, OneOf) and self._wall_is(part):
            of_wall = self._rating_of_wall(said)
            return ("wall_rating_minutes", of_wall) if of_wall is not None else (fact, None)
        if asked and asked != fact and asked not in term.says and len(term.says) == 1:
            of_asked = self._of_asked(term, fact, said)
            if of_asked is not None and not self.book.words["door"] & set(self.words):
                return asked, of_asked
        return fact, said

    def _rating_of_wall(self, said: OneOf) -> Possible | None:
        """What "rated" or "not rated" says of a wall; None where a label's letter says nothing of it."""
        steps = frozenset(self.kinds["wall_rating_minutes"].choices)
        if said.values == {"0"}:
            return OneOf(frozenset({"0"}))
        of_door = frozenset(self.kinds["fire_rating_minutes"].choices) - {"0"}
        return OneOf(steps - {"0"}) if said.values == of_door else None

    def _of_asked(self, term: Term, fact: str, said: Possible) -> Possible | None:
        """The value a phrase of another fact gives the fact asked about; None where it gives none."""
        assert self.asked is not None
        kind, other = self.kinds[self.asked], self.kinds[fact]
        if kind.kind == "steps" and other.kind == "steps" and kind.unit == other.unit and isinstance(said, OneOf):
            if said.values == {"0"}:
                return OneOf(frozenset({"0"}))
            return OneOf(frozenset(kind.choices) - {"0"}) if said.values == frozenset(other.choices) - {"0"} else None
        raw = term.raw.get(fact, ())
        finest = [kind.finest(value) for value in raw]
        if kind.kind != "choice" or not raw or not all(finest):
            return None
        return OneOf(frozenset(low for values in finest for low in values))

    def _add(
        self, part: Part, fact: str, possible: Possible | None, weak: bool = False, span: tuple[int, int] | None = None
    ) -> None:
        start, end = span or (part.start, part.end)
        how: How = "stated"
        if weak:
            how = "implied"
        elif part.hedged or part.unknown or any(measure.about for measure in part.match.measures):
            how = "unsure"
        elif part.denied:
            how = "denied"
        self.covered.update(range(start, end))
        self.found.append(Found(fact, possible, start, end, how, part, weak))

    # Measures that stand in no phrase

    def _measure(self, part: Part) -> None:
        measure = part.measure
        assert measure is not None
        if part.dropped or (part.asked and measure.kind != "size"):
            self.covered.update(range(part.start, part.end))
        elif measure.kind == "time":
            self._time(part, measure)
        elif measure.kind == "length":
            self._length(part, measure)
        elif measure.kind == "amps":
            self._add(part, "electrical_equipment_amps", measure.between(whole=True))

    def _time(self, part: Part, measure: Measure) -> None:
        fact, start, end = self._of_wall_or_door(part)
        possible = possible_of(measure, self.kinds[fact], "exact", None, self.book.measures.lengths)
        if fact == "fire_rating_minutes" and possible is None and self.asked == "wall_rating_minutes":
            fact = "wall_rating_minutes"
            possible = possible_of(measure, self.kinds[fact], "exact", None, self.book.measures.lengths)
        elif self.asked == "wall_rating_minutes" and fact == "fire_rating_minutes" and end == part.end:
            of_wall = possible_of(measure, self.kinds[self.asked], "exact", None, self.book.measures.lengths)
            fact, possible = (self.asked, of_wall) if of_wall is not None else (fact, possible)
        if fact == "fire_rating_minutes" and not part.denied and self._only_of_wall(part):
            fact = "wall_rating_minutes"
            possible = possible_of(measure, self.kinds[fact], "exact", None, self.book.measures.lengths)
        if possible is None:
            as_wall = possible_of(measure, self.kinds["wall_rating_minutes"], "exact", None, self.book.measures.lengths)
            if fact == "fire_rating_minutes" and as_wall is not None and not part.denied and self._names_wall(part):
                self._add(part, "wall_rating_minutes", as_wall)
                return
            if fact == "fire_rating_minutes" and as_wall is not None and not part.denied:
                self.covered.update(range(part.start, part.end))
                self.ambiguous.append((part.start, part.end, ("reading_time_of_wall", "reading_time_of_door_label")))
            return
        if part.denied:
            possible = complement(possible, self.kinds[fact])
        if possible is not None:
            self.swallowed.append((start, end))
            self._add(part, fact, possible, span=(start, end))

    def _only_of_wall(self, part: Part) -> bool:
        """Whether a time follows a kind of wall in a message that says nothing of a door: "tenant wall, 1 hour"."""
        before = [other for other in self.sentence.parts if other.end <= part.start and other.opening == part.opening]
        near = before and before[-1].term is not None and "wall_kind" in before[-1].term.says
        if not near or not set(self.words[before[-1].end : part.start]) <= {",", "-", ":"}:
            return False
        told = {"leaves", "door_material", "fire_rating_minutes"}
        doors = self.book.words["door"] & set(self.words)
        return not doors and not any(
            other is not part and (other.measure is not None or (other.term and told & set(other.term.says)))
            for other in self.sentence.parts
        )

    def _names_wall(self, part: Part) -> bool:
        """Whether a kind of wall is named in the same opening."""
        return any(
            other.term is not None and "wall_kind" in other.term.says and other.opening == part.opening
            and not (other.denied or other.dropped or other.asked)
            for other in self.sentence.parts
        )  # fmt: skip

    def _wall_is(self, part: Part) -> bool:
        """Whether "rated" or "not rated" is said of the wall: "the wall is drywall and not rated"."""
        lists, words = self.book.words, self.words
        times = self.book.measures.times

        def between(word: str) -> bool:
            known = word in lists["wall_between"] or word in _OF_WALL or word in times
            return known or word.isdecimal() or word in self.book.measures.fractions

        at = part.start - 1
        while at >= 0 and between(words[at]):
            at -= 1
        if _DOORS & set(words[part.start : part.end]):
            return False
        if at < 0 or words[at] not in lists["wall"] or _IS.isdisjoint(words[at : part.start]):
            return False
        at -= 1
        while at >= 0 and (between(words[at]) or words[at] in self.book.measures.numbers):
            at -= 1
        return at < 0 or words[at] not in lists["inside"]

    def _of_wall_or_door(self, part: Part) -> tuple[str, int, int]:
        """Whether a time is the wall's or the door's rating, and the words that say so."""
        lists, words = self.book.words, self.words
        at = part.end
        while at < len(words) and at - part.end < 7 and words[at] in lists["wall_between"]:
            at += 1
        word = words[at] if at < len(words) else ""
        following = words[at + 1] if at + 1 < len(words) else ""
        if word in lists["wall"]:
            if following not in lists["door"]:
                return "wall_rating_minutes", part.start, at + 1
            return "fire_rating_minutes", part.start, part.end
        if word in lists["door"]:
            return "fire_rating_minutes", part.start, part.end
        inside = (
            part.start >= 2 and words[part.start - 1] in ("a", "an", "the") and words[part.start - 2] in lists["inside"]
        )
        if at > part.end and words[at - 1] in lists["wall_place"] and inside:
            return "wall_rating_minutes", part.start, at
        at = part.start - 1
        while (
            at >= 0
            and part.start - at < 6
            and (
                words[at] in lists["wall_between"]
                or words[at]
                in ("have", "had", "is", "are", ":", "=", "at", "for", "of", "it's", "has", "'s", "a", "was")
            )
        ):
            at -= 1
        if at >= 0 and words[at] in lists["wall"] | {"walls"}:
            return "wall_rating_minutes", at, part.end
        return "fire_rating_minutes", part.start, part.end

    def _length(self, part: Part, measure: Measure) -> None:
        if self.asked and self.kinds[self.asked].unit == "in":
            return
        if any(f.part is part for f in self.found):
            return
        value = measure.value
        near = set(self.words[part.end : part.end + 3]) | set(self.words[max(0, part.start - 3) : part.start])
        if value is None or near & {"clear", "rough", "ro", "backset", "plate", "lite", "glass", "hinge", "hinges"}:
            return
        leaves = [f for f in self.found if f.fact == "leaves"]
        paired = any(f.fact == "leaves" and f.possible != OneOf(frozenset({"single"})) for f in leaves)
        if 24 <= value <= 48 and not (paired and value >= 48):
            self._add(part, "leaf_width_in", Between(value, value))
        elif 78 <= value <= 120 and not near & {"wide", "opening"}:
            self._add(part, "leaf_height_in", Between(value, value))

    def _sizes(self) -> None:
        for opening in sorted({part.opening for part in self.sentence.parts}):
            parts = [part for part in self.sentence.parts if part.opening == opening]
            for said in leaf_sizes(parts, self.words):
                part = said.part
                if isinstance(said, Leaf):
                    if not part.denied and not part.dropped:
                        self._add(part, said.fact, said.possible, weak=said.implied, span=(said.start, said.end))
                else:
                    self.covered.update(range(part.start, part.end))
                    self.ambiguous.append((part.start, part.end, said.readings))

    # Answers to the question asked

    def _answers(self) -> None:
        numbers = [part for part in self.sentence.parts if part.measure is not None and part.start not in self.covered]
        self._adopted(numbers)
        decided = decision(self.sentence) if self.asked and self.kinds[self.asked].kind == "yes_no" else None
        if decided is not None:
            self._decide(*decided)
        elif self.asked is not None:
            given = answer(
                self.sentence, self.asked, self.kinds[self.asked], self.book, self.units, self.covered,
                any(found.fact == self.asked and not found.weak for found in self.found),
            )  # fmt: skip
            for part, possible, how in given:
                self.covered.update(range(part.start, part.end))
                self.found.append(Found(self.asked, possible, part.start, part.end, how, part))
        for part in numbers:
            measure = part.measure
            assert measure is not None
            if part.start in self.covered or measure.kind != "number":
                continue
            # A number corrects a rating where the question takes none: "sorry, 45".
            if self.asked is not None and not (part.corrects and self.kinds[self.asked].kind in ("yes_no", "choice")):
                continue
            options = measure.options
            rating = possible_of(measure, self.kinds["fire_rating_minutes"], "exact", None, self.book.measures.lengths)
            if options and all(option in _RATINGS for option in options) and part.hedged and rating is not None:
                self._add(part, "fire_rating_minutes", rating)
            elif options and all(option in _RATINGS for option in options) and not measure.in_words:
                self.covered.update(range(part.start, part.end))
                self.ambiguous.append(
                    (
                        part.start,
                        part.end,
                        ("reading_number_is_minutes", "reading_number_is_people", "reading_number_is_inches"),
                    )
                )

    def _decide(self, part: Part, said: str) -> None:
        """A yes or no of its own decides what was asked; where the rest says otherwise it is unsure."""
        assert self.asked is not None
        possible = OneOf(frozenset({said}))
        others = [f for f in self.found if f.fact == self.asked and not f.weak and f.part.opening == part.opening]
        against = any(f.possible != possible for f in others)
        hedged = part.hedged or any(f.how == "unsure" for f in others)
        hedged = hedged or any(other.mark == "hedge" and not other.tells for other in self.sentence.parts)
        how: How = "unsure" if against or hedged else ("denied" if said == "no" else "stated")
        self.found = [f for f in self.found if f not in others]
        self.covered.update(range(part.start, part.end))
        self.found.append(Found(self.asked, possible, part.start, part.end, how, part))

    def _adopted(self, numbers: Sequence[Part]) -> None:
        """A bare number beside a measure taken back or denied is of its fact: "90 minute, sorry, 60", "60 not 90"."""
        for part in numbers:
            if part.measure is None or part.start in self.covered:
                continue
            before = [f for f in self.found if f.end <= part.start and f.part.match.measures and part.corrects]
            denied = [
                f
                for f in self.found
                if f.part.match.measures and f.part.denied and 0 < f.start - part.end <= 2 and not part.denied
            ]
            if before or denied:
                fact = (before[-1:] + denied)[0].fact
                possible = possible_of(part.measure, self.kinds[fact], "exact", self.units, self.book.measures.lengths)
                if possible is not None:
                    self._add(part, fact, possible)

    # Putting together

    def _tidy(self) -> None:
        for start, end in self.swallowed:
            # "Rated" between a time and the wall it is of speaks of the wall.
            self.found = [
                f
                for f in self.found
                if f.fact != "fire_rating_minutes" or f.part.measure or not start <= f.start < f.end <= end
            ]
        self.found.sort(key=lambda f: (f.start, f.end, f.fact))
        self._once()
        self._alternatives()
        self._rooms()
        self._unknowns()
        self._two_widths()
        self.found = [f for f in self.found if not self._taken_back(f)]
        gone = [f for f in self.found if self._gives_way(f)]
        self.found = [f for f in self.found if f not in gone or all(g in gone or g.weak for g in self._others(f))]
        self._narrow()
        self.found = [f for f in self.found if not self._outdone(f)]

    def _once(self) -> None:
        """Leave out what is said again in the same way."""
        kept: dict[object, Found] = {}
        for f in self.found:
            kept.setdefault((f.fact, f.possible, f.how, f.weak, f.part.opening, f.part.corrects, f.part.joined), f)
        self.found = list(kept.values())

    def _others(self, f: Found) -> list[Found]:
        """What else was said of the same fact of the same opening."""
        return [g for g in self.found if g is not f and g.fact == f.fact and g.part.opening == f.part.opening]

    def _gives_way(self, f: Found) -> bool:
        """Whether a more exact statement replaces it; the very opposite is none."""
        term, others = f.part.term, self._others(f)
        if term is None or not term.gives_way or not others:
            return False
        opposite = (term.denied or {}).get(f.fact)
        return opposite is None or all(g.possible != opposite for g in others)

    def _taken_back(self, f: Found) -> bool:
        """Whether a later correction in the same breath replaces it."""
        return not f.part.corrects and any(g.part.corrects and not g.weak for g in self._others(f))

    def _narrow(self) -> None:
        """Two statements of one fact: what both leave possible, or either where they can't both hold."""
        for f in self.found:
            for g in self._others(f):
                if f.weak or g.weak or f.start >= g.start or f.possible is None or g.possible is None:
                    continue
                both = overlap(f.possible, g.possible)
                if both is not None and both not in (f.possible, g.possible):
                    f.possible = g.possible = both
                elif both is None and isinstance(f.possible, OneOf) and not f.part.corrects:
                    f.possible = g.possible = agree(f.possible, g.possible)

    def _outdone(self, f: Found) -> bool:
        """Whether something else says the same more exactly, or again."""
        for g in self._others(f):
            if f.weak:
                if not g.weak or g.start < f.start or (g.start == f.start and g.end > f.end):
                    return True
            elif g.weak:
                continue
            elif f.possible is None or g.possible is None:
                if f.possible is None and (g.possible is not None or f.start > g.start):
                    return True
            elif f.possible == g.possible:
                if self.found.index(f) > self.found.index(g):
                    return True
            elif within(g.possible, f.possible):
                return True
        return False

    def _rooms(self) -> None:
        """A room and the corridor or lobby its door leads to: "gym to the corridor" is the gym's door.

        A room right before a corridor only tells which: "office corridor" is the corridor.
        """
        lists = self.book.words
        rooms = [f for f in self.found if f.fact == "room_use" and not f.weak and f.possible and f.how != "denied"]
        for one, other in pairwise(rooms):
            passing = [
                f for f in (one, other) if isinstance(f.possible, OneOf) and f.possible.values <= lists["passages"]
            ]
            if len(passing) != 1 or one.part.opening != other.part.opening:
                continue
            gap = self.words[one.end : other.start]
            if gap and gap[0] in lists["toward"] and set(gap[1:]) <= lists["around"]:
                self.found = [f for f in self.found if f is not passing[0]]
            elif not gap and passing[0] is other:
                self.found = [f for f in self.found if f is not one]

    def _unknowns(self) -> None:
        """A value followed by "not sure about the rating" is unsure."""
        for f in self.found:
            doubted = any(g.fact == f.fact and g.possible is None and g.start >= f.end for g in self.found)
            if doubted and f.possible is not None:
                f.how = "unsure"

    def _two_widths(self) -> None:
        """Two leaves of different width are an unequal pair."""
        widths = {f.fact: f for f in self.found if f.fact in ("leaf_width_in", "inactive_leaf_width_in")}
        if len(widths) < 2 or any(f.fact == "leaves" and not f.weak for f in self.found):
            return
        active, inactive = widths["leaf_width_in"], widths["inactive_leaf_width_in"]
        if active.possible != inactive.possible:
            start, end = min(active.start, inactive.start), max(active.end, inactive.end)
            self.found = [f for f in self.found if f.fact != "leaves"]
            unequal = OneOf(frozenset({"unequal_pair"}))
            self.found.append(Found("leaves", unequal, start, end, "implied", inactive.part, weak=True))

    def _alternatives(self) -> None:
        """One fact of which several values are left: "45 or 60 minutes", "wood or hollow metal"."""
        merged: list[Found] = []
        for f in self.found:
            last = next((g for g in reversed(merged) if g.fact == f.fact and g.end <= f.start), None)
            joined = f.part.joined or (last is not None and f.part.hedged and last.part.hedged)
            if last is None or not joined or f.weak or last.possible is None or f.possible is None:
                merged.append(f)
                continue
            hedges = {at for part in self.sentence.parts if part.mark == "hedge" for at in range(part.start, part.end)}
            between = {self.words[at] for at in range(last.end, f.start) if at not in hedges}
            if f.part.denied or last.part.denied or not between <= {"or", "/", ",", "a", "an", "the"}:
                merged.append(f)
                continue
            both = agree(last.possible, f.possible)
            how: How = "unsure" if "unsure" in (last.how, f.how) else "stated"
            merged[merged.index(last)] = replace(last, possible=both, end=f.end, how=how)
            self.covered.update(range(last.start, f.end))
        self.found = merged

    # Wants

    def _wants(self) -> None:
        parts = self.sentence.parts
        for place, part in enumerate(parts):
            term = part.term
            if term is None or not term.wants or part.dropped:
                continue
            if term.wants == "trouble" and part.denied:
                continue
            about = term.about
            if about is None and term.wants in _ABOUT:
                others = [*parts[place + 1 :], *reversed(parts[:place])]
                items = [other.term.mentions for other in others if other.term is not None]
                facts = [self._named(other) for other in others]
                heard = [found.fact for found in self.found if found.start >= part.end]
                about = next((name for name in [*items, *heard, *facts] if name), None)
            if (term.wants, about) not in [(name, other) for name, _, _, other in self.wants]:
                self.wants.append((term.wants, part.start, part.end, about))

    @staticmethod
    def _named(part: Part) -> str | None:
        term = part.term
        if term is None or term.wants:
            return None
        return term.names or next(iter(term.says), None)

    def left(self) -> list[tuple[int, int]]:
        """The stretches of words nothing was made of, filler and punctuation aside."""
        filler = self.book.words["filler"]
        stretches: list[tuple[int, int]] = []
        for at, word in enumerate(self.words):
            if at in self.covered or word in filler or _is_punctuation(word):
                continue
            if stretches and stretches[-1][1] == at:
                stretches[-1] = (stretches[-1][0], at + 1)
            else:
                stretches.append((at, at + 1))
        return stretches


def _is_punctuation(word: str) -> bool:
    return len(word) == 1 and word.isascii() and not word.isalnum()
