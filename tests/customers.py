"""Customers for simulated conversations: openings drawn from the stated prior, and what is said of them at first.

A fact takes the prior of `knowledge_graph/facts.yaml` unless a row of GIVEN fits what was drawn before it, and always
keeps within what the rules imply of it. Every draw is seeded.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from fractions import Fraction

from plain_judge import PlainJudge, Value, compares, possible, presumed

from advisor.facts import Entry, FactSheet
from advisor.knowledge.conditions import facts_read
from advisor.knowledge.graph import KnowledgeGraph

OPENING_SENTENCE = (
    ("leaves",),
    ("leaf_width_in", "inactive_leaf_width_in", "leaf_height_in"),
    ("door_material",),
    ("fire_rating_minutes",),
    ("room_use",),
)
# How often one part of the sentence is left out
LEFT_OUT = 0.4

PLANT = "janitor_closet electrical_room telecom_closet data_room elevator_machine_room shaft_room"
SMALL = f"{PLANT} restroom_single roof_access"
SERVICE = f"{PLANT} storage_room mechanical_room"
CROWDS = "assembly_room gym dining_room"
DWELLINGS = "apartment_entry dwelling_interior garage_to_dwelling"
PUBLIC = "building_entrance lobby vestibule"
CARE = "patient_room exam_room operating_room pharmacy"

Row = tuple[Mapping[str, str], Mapping[str, int]]
GIVEN: Mapping[str, tuple[Row, ...]] = {
    # what a room makes likely; the first row whose facts all fit counts
    "leaves": (
        (
            {"room_use": f"{SMALL} {DWELLINGS} restroom_multi office guest_room_entry connecting_room"},
            {"single": 97, "pair": 3},
        ),
        (
            {"room_use": f"corridor {PUBLIC} {CROWDS} loading_dock"},
            {"single": 50, "pair": 44, "unequal_pair": 2, "double_egress_pair": 4},
        ),
        (
            {"room_use": "mechanical_room storage_room laboratory operating_room"},
            {"single": 60, "pair": 32, "unequal_pair": 8},
        ),
    ),
    "occupancy": (
        ({"room_use": CARE}, {"institutional_healthcare": 90, "business": 10}),
        (
            {"room_use": "assembly_room gym dining_room lobby"},
            {"assembly": 60, "educational": 15, "business": 15, "residential_transient": 10},
        ),
        ({"room_use": "guest_room_entry connecting_room"}, {"residential_transient": 1}),
        ({"room_use": DWELLINGS}, {"residential": 1}),
    ),
    "exterior": (
        ({"room_use": "building_entrance service_entrance roof_access"}, {"yes": 1}),
        ({"room_use": "loading_dock"}, {"yes": 80, "no": 20}),
        ({"room_use": "stairwell lobby vestibule"}, {"yes": 20, "no": 80}),
        ({}, {"yes": 3, "no": 97}),
    ),
    "wall_kind": (
        ({"exterior": "yes"}, {"exterior_wall": 1}),
        ({"room_use": "stairwell"}, {"stair_enclosure": 1}),
        ({"room_use": "shaft_room"}, {"shaft_enclosure": 1}),
        (
            {"room_use": "corridor"},
            {
                "corridor_wall": 25,
                "fire_barrier": 20,
                "smoke_barrier": 15,
                "exit_passageway": 5,
                "fire_wall": 5,
                "horizontal_exit": 7,
                "smoke_partition": 8,
                "unrated_wall": 15,
            },
        ),
        ({"room_use": DWELLINGS}, {"fire_partition": 70, "corridor_wall": 20, "fire_barrier": 5, "unrated_wall": 5}),
        (
            {"room_use": "guest_room_entry connecting_room suite_entry"},
            {"fire_partition": 60, "corridor_wall": 30, "unrated_wall": 10},
        ),
        (
            {"room_use": SERVICE, "occupancy": "institutional_healthcare"},
            {"fire_barrier": 40, "smoke_partition": 30, "corridor_wall": 20, "unrated_wall": 10},
        ),
        ({"room_use": SERVICE}, {"unrated_wall": 50, "fire_barrier": 30, "corridor_wall": 12, "smoke_partition": 8}),
        (
            {"room_use": f"classroom office conference_room {CARE}"},
            {"corridor_wall": 55, "unrated_wall": 40, "smoke_partition": 2, "smoke_barrier": 1, "fire_barrier": 2},
        ),
    ),
    "wall_rating_minutes": (
        ({"wall_kind": "exterior_wall"}, {"0": 95, "60": 5}),
        ({"wall_kind": "fire_barrier"}, {"60": 65, "120": 35}),
        ({"wall_kind": "fire_wall"}, {"120": 60, "180": 30, "240": 10}),
        ({"wall_kind": "horizontal_exit"}, {"120": 1}),
    ),
    # the label that goes with the wall where nothing implies it
    "fire_rating_minutes": (
        ({"wall_kind": "unrated_wall smoke_partition"}, {"0": 1}),
        ({"wall_kind": "smoke_barrier"}, {"20": 85, "45": 10, "90": 5}),
        ({"wall_kind": "horizontal_exit"}, {"90": 90, "180": 10}),
    ),
    "smoke_rated": (
        ({"wall_kind": "smoke_barrier smoke_partition"}, {"yes": 85, "no": 15}),
        ({"fire_rating_minutes": "0"}, {"no": 97, "yes": 3}),
        ({}, {"no": 75, "yes": 25}),
    ),
    "normally_occupied": (({"room_use": f"{SERVICE} roof_access trash_room"}, {"no": 70, "yes": 30}), ({}, {"yes": 1})),
    "egress": (
        (
            {"room_use": "storage_room janitor_closet telecom_closet shaft_room roof_access trash_room"},
            {"no": 50, "yes": 50},
        ),
    ),
    "occupant_load": (
        (
            {"room_use": f"{SMALL} storage_room mechanical_room trash_room laundry"},
            {"0": 20, "1": 40, "2": 30, "6": 10},
        ),
        (
            {"room_use": "assembly_room gym dining_room"},
            {"30": 20, "60": 20, "120": 30, "200": 15, "350": 10, "600": 5},
        ),
        ({"room_use": "classroom"}, {"20": 40, "30": 50, "48": 5, "60": 5}),
        (
            {"room_use": "corridor stairwell building_entrance lobby"},
            {"30": 30, "60": 20, "120": 25, "200": 15, "350": 7, "600": 3},
        ),
        (
            {"room_use": f"office suite_entry {CARE} {DWELLINGS} guest_room_entry"},
            {"2": 40, "6": 30, "15": 20, "30": 10},
        ),
    ),
    "accessible_route": (
        ({"room_use": f"{SERVICE} roof_access trash_room loading_dock dwelling_interior"}, {"no": 75, "yes": 25}),
        ({}, {"no": 8, "yes": 92}),
    ),
    "beds_move": (
        (
            {"occupancy": "institutional_healthcare", "room_use": "corridor elevator_lobby exam_room suite_entry"},
            {"yes": 50, "no": 50},
        ),
        ({}, {"yes": 3, "no": 97}),
    ),
    "leaf_width_in": (
        ({"leaves": "pair"}, {"36": 85, "30": 6, "42": 3, "48": 6}),
        ({"room_use": "patient_room operating_room"}, {"44": 40, "46": 10, "48": 50}),
    ),
    "life_safety_code": (
        ({"occupancy": "institutional_healthcare"}, {"yes": 95, "no": 5}),
        ({}, {"yes": 25, "no": 75}),
    ),
    "frame_material": (({"door_material": "aluminum glass"}, {"aluminum": 95, "hollow_metal": 5}),),
    "door_material": (
        ({"fire_rating_minutes": "45 60 90 180"}, {"hollow_metal": 75, "wood_mineral_core": 25}),
        (
            {"fire_rating_minutes": "20"},
            {"hollow_metal": 45, "wood_particleboard_core": 35, "wood_mineral_core": 15, "wood_solid": 5},
        ),
        ({"room_use": "building_entrance vestibule"}, {"aluminum": 65, "glass": 15, "hollow_metal": 20}),
        ({"exterior": "yes"}, {"hollow_metal": 85, "aluminum": 10, "fiberglass": 5}),
        ({}, {"hollow_metal": 45, "wood_particleboard_core": 40, "wood_solid": 8, "aluminum": 5, "glass": 2}),
    ),
    "field_preparation": (({"existing_door": "no"}, {"already_prepared": 1}),),
}


class Customers:
    """Draws customers."""

    def __init__(self, graph: KnowledgeGraph, seed: int) -> None:
        self.graph, self.random = graph, random.Random(seed)
        self.order = self._order()

    def _order(self) -> list[str]:
        """Causes first: what is implied, and what a row of GIVEN hangs on, after what it hangs on."""
        before: dict[str, set[str]] = {fact: set() for fact in self.graph.fact_order}
        for fact, rules in self.graph.implying.items():
            for rule in rules:
                before[fact] |= _read(self.graph, rule.name)
        for fact, rows in GIVEN.items():
            before[fact] |= {other for when, _ in rows for other in when}
        order: list[str] = []
        while len(order) < len(before):
            ready = [fact for fact in self.graph.fact_order if fact not in order and before[fact] <= set(order)]
            assert ready, f"a circle among {sorted(set(before) - set(order))}"
            order.append(ready[0])
        return order

    def opening(self) -> dict[str, Value]:
        """One whole opening."""
        drawn: dict[str, Value] = {"leaves": "single"}
        judge = PlainJudge(self.graph, drawn)
        for fact in self.order:
            weights = self._weights(fact, drawn)
            for rule in self.graph.implying.get(fact, ()):
                if rule.implied and judge.applies(rule):
                    within = {value: weight for value, weight in weights.items() if compares(rule.implied, value)}
                    left = [value for value in self._values(fact) if compares(rule.implied, value)]
                    weights = within or dict.fromkeys(left, 1)
            drawn[fact] = self.random.choices(list(weights), list(weights.values()))[0]
        return drawn

    def _values(self, fact: str) -> list[Value]:
        kind = self.graph.kinds[fact]
        return list(kind.choices) or [Fraction(value) for value in kind.prior] or [presumed(kind)]

    def _weights(self, fact: str, drawn: Mapping[str, Value]) -> dict[Value, int]:
        """The prior of a fact, given what was drawn before it."""
        kind = self.graph.kinds[fact]
        prior = kind.prior
        for when, weights in GIVEN.get(fact, ()):
            if all(str(drawn[other]) in values.split() for other, values in when.items()):
                prior = weights
                break
        if not prior:
            return dict.fromkeys(self._values(fact), 1)
        return {Fraction(value) if kind.kind == "quantity" else value: weight for value, weight in prior.items()}

    def sheet(self, opening: Mapping[str, Value]) -> FactSheet:
        """What a typical opening sentence says: leaves, size, material, rating and room, and any special wish."""
        left_out = self.random.choice(OPENING_SENTENCE) if self.random.random() < LEFT_OUT else ()
        said = [fact for part in OPENING_SENTENCE if part is not left_out for fact in part]
        if opening["leaves"] != "unequal_pair":
            said = [fact for fact in said if "inactive" not in fact]
        for fact, kind in self.graph.kinds.items():
            if kind.presumed is not None and kind.topic != "ordering" and opening[fact] != self._unsaid(fact, opening):
                said.append(fact)
        return FactSheet({fact: Entry(possible(self.graph.kinds[fact], opening[fact])) for fact in said})

    def _unsaid(self, fact: str, opening: Mapping[str, Value]) -> Value:
        """What is taken of a presumed fact of this opening while nothing is said of it."""
        judge = PlainJudge(self.graph, opening)
        implied = [rule.implied for rule in self.graph.implying.get(fact, ()) if rule.implied and judge.applies(rule)]
        if implied and all(compares(each, opening[fact]) for each in implied):
            return opening[fact]
        return presumed(self.graph.kinds[fact])


def _read(graph: KnowledgeGraph, rule: str) -> set[str]:
    lifting = graph.lifted_by[rule]
    return set(facts_read(graph.rules[rule].condition)).union(*(facts_read(each.condition) for each in lifting))
