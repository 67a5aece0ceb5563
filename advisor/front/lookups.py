"""The look-ups as commands: finish, function, hand, what, size, wall."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from advisor.errors import AdvisorError
from advisor.front.common import AsJson, refuse, write_answer

if TYPE_CHECKING:
    from advisor.conversation.argument import Answer
    from advisor.conversation.lookup import LookUp
    from advisor.facts import FactSheet

Knowledge = Annotated[
    list[Path] | None, typer.Option(help="A knowledge folder laid over the built-in one; may be given more than once.")
]
Words = Annotated[list[str], typer.Argument(help="In your own words.")]
Length = Annotated[str | None, typer.Option(help="In inches, for example 36 or 34-1/2.")]
Side = Literal["left", "right"]
Swing = Literal["away", "toward"]


def add_to(app: typer.Typer) -> None:
    """Put the look-ups among an app's commands."""
    for command in (finish, function, hand, what, size, wall):
        app.command()(command)


def finish(
    code: Annotated[list[str], typer.Argument(help="A US or BHMA code, the metal beneath if need be: US26D steel.")],
    knowledge: Knowledge = None,
    as_json: AsJson = False,
) -> None:
    """A finish by its US or BHMA code: the other code, the metal beneath, what matches it and what does not."""
    look = _look_up(knowledge)
    _show(look, look.named(code, ("finish",)), as_json)


def function(
    words: Annotated[list[str], typer.Argument(help="A number (F86), or what the lock does from each side.")],
    lock: Annotated[
        Literal["bored", "mortise", "exit_device", "deadbolt"] | None, typer.Option(help="Only this kind of lock.")
    ] = None,
    knowledge: Knowledge = None,
    as_json: AsJson = False,
) -> None:
    """A lock function by its number or by what it does."""
    look = _look_up(knowledge)
    _show(look, look.function_of(words, {lock} if lock else ()), as_json)


def hand(
    hinges: Annotated[Side, typer.Option(help="The hinges' side, or the active leaf's, seen from outside.")],
    swings: Annotated[Swing, typer.Option(help="Whether the door swings away from or toward who stands outside.")],
    pair: Annotated[bool, typer.Option("--pair", help="A pair; --hinges tells the active leaf.")] = False,
    knowledge: Knowledge = None,
    as_json: AsJson = False,
) -> None:
    """The hand from the side of the hinges and the swing."""
    look = _look_up(knowledge)
    _show(look, look.hand(hinges, swings, of_pair=pair), as_json)


def what(words: Words, knowledge: Knowledge = None, as_json: AsJson = False) -> None:
    """What a code, an item or a word is, and how two of them differ."""
    look = _look_up(knowledge)
    _show(look, look.named(words), as_json)


def size(
    words: Annotated[list[str], typer.Argument(help="Hinges, closer, plates, threshold, silencers, seals, …")],
    width: Length = None,
    height: Length = None,
    thickness: Length = None,
    leaves: Annotated[str | None, typer.Option(help="single, pair, unequal_pair, double_egress_pair")] = None,
    material: Annotated[str | None, typer.Option(help="hollow_metal, wood, aluminum, …")] = None,
    rating: Annotated[str | None, typer.Option(help="Minutes on the door's label; 0 for none.")] = None,
    exterior: Annotated[bool | None, typer.Option("--exterior/--interior", help="Outdoors or indoors.")] = None,
    accessible: Annotated[bool | None, typer.Option("--accessible/--not-accessible", help="On such a route.")] = None,
    egress: Annotated[bool | None, typer.Option("--egress/--no-egress", help="A way out.")] = None,
    knowledge: Knowledge = None,
    as_json: AsJson = False,
) -> None:
    """What size, how many, how heavy, how hard to open."""
    look = _look_up(knowledge)
    sizing = look.sizing_called(words)
    if sizing is None:
        names = ", ".join(sorted(one.called[0] for one in look.lookups.sizings.values()))
        refuse(f"{' '.join(words)}: nothing is sized under that. Known: {names}", 2)
    said = {
        "leaf_width_in": width,
        "leaf_height_in": height,
        "thickness_in": thickness,
        "leaves": leaves,
        "door_material": material,
        "fire_rating_minutes": rating,
        "exterior": _yes_no(exterior),
        "accessible_route": _yes_no(accessible),
        "egress": _yes_no(egress),
    }
    _show(look, look.size(sizing, _sheet(look, said)), as_json)


def wall(
    kind: Annotated[str, typer.Argument(help="The kind of wall: fire_barrier, corridor_wall, stair_enclosure, …")],
    hours: Annotated[str, typer.Argument(help="Its rating in hours: 2, 1-1/2, 1/2.")],
    sprinklered: Annotated[bool | None, typer.Option("--sprinklered/--not-sprinklered", help="The building.")] = None,
    knowledge: Knowledge = None,
    as_json: AsJson = False,
) -> None:
    """The rating of the door from its wall."""
    from advisor.knowledge.conditions import number

    look = _look_up(knowledge)
    try:
        minutes = number(hours) * 60
    except ValueError:
        refuse(f"{hours}: no number of hours", 2)
    said = {
        "wall_kind": kind.lower().replace(" ", "_").replace("-", "_"),
        "wall_rating_minutes": str(minutes),
        "sprinklered": _yes_no(sprinklered),
    }
    _show(look, look.wall(_sheet(look, said)), as_json)


def _yes_no(value: bool | None) -> str | None:
    return None if value is None else "yes" if value else "no"


def _sheet(look: LookUp, said: dict[str, str | None]) -> FactSheet:
    """The facts given as options."""
    from advisor.facts import Entry, FactSheet
    from advisor.knowledge.conditions import Reader
    from advisor.knowledge.load import possible_of
    from advisor.yaml_files import Place

    kinds = look.graph.kinds
    reader, entries = Reader(kinds, {}), {}
    for fact, value in said.items():
        if value is None:
            continue
        try:
            possible = possible_of(kinds[fact], reader.compare(kinds[fact], value, Place(fact, 1)))
        except AdvisorError as problem:
            refuse(str(problem).removeprefix(f"{fact}:1: "), 2)
        entries[fact] = Entry(possible, value)
    return FactSheet(entries)


def _look_up(knowledge: list[Path] | None) -> LookUp:
    from advisor.conversation.lookup import LookUp
    from advisor.conversation.mind import load

    try:
        return LookUp(load(knowledge or ()))
    except AdvisorError as problem:
        refuse(problem, 1)


def _show(look: LookUp, answer: Answer, as_json: bool) -> None:
    """The answer with the caution; exit code 1 where there is no entry."""
    from advisor.conversation.turn import Block, plain

    blocks = [*answer.blocks, Block(lines=(look.say("caution"),))]
    shown = {
        "version": 1,
        "about": answer.about,
        "value": answer.value,
        "sources": list(answer.sources),
        "reply": plain(blocks),
    }
    write_answer(shown, blocks, as_json)
    if answer.about == "unknown":
        raise typer.Exit(1)
