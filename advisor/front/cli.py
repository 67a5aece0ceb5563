"""The command line: a thin door on the conversation."""

from __future__ import annotations

import gc
import json
import os
import re
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from advisor.errors import AdvisorError, JournalError
from advisor.front import care, lookups, reviewing
from advisor.front.common import refuse, write
from advisor.front.folders import state_folder

if TYPE_CHECKING:
    from advisor.conversation.counter import Counter
    from advisor.conversation.journal import Journal
    from advisor.conversation.mind import Mind

app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)
reviewing.add_to(app)
lookups.add_to(app)
care.add_to(app)

Knowledge = Annotated[
    list[Path] | None, typer.Option(help="A knowledge folder laid over the built-in one; may be given more than once.")
]
Dialogues = Annotated[
    list[Path] | None, typer.Option(help="A dialogues folder laid over the built-in one; may be given more than once.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Machine-readable turns.")]
Plain = Annotated[bool, typer.Option("--plain", help="Plain text, for pipes and screen readers.")]
Log = Annotated[Path | None, typer.Option(help="The folder that session logs go to.")]
NoLog = Annotated[bool, typer.Option("--no-log", help="Keep no session log.")]
KeepPersonal = Annotated[
    bool, typer.Option("--keep-personal", help="Keep names, telephone numbers, e-mail and street addresses as typed.")
]
Named = Annotated[
    str | None, typer.Option("--session", help="A name: the conversation is kept under it and gone on with.")
]
Resume = Annotated[Path | None, typer.Option(help="A session's log, to go on with that conversation.")]


@app.callback()
def callback() -> None:
    """Advice on door hardware at the counter: describe an opening, get its set with reasons, sources and cautions."""


@app.command()
def chat(
    knowledge: Knowledge = None,
    dialogues: Dialogues = None,
    as_json: AsJson = False,
    plain: Plain = False,
    log: Log = None,
    no_log: NoLog = False,
    keep_personal: KeepPersonal = False,
    resume: Resume = None,
    session: Named = None,
) -> None:
    """Talk an opening through; with --json one line in, one object out."""
    mind = _mind(knowledge, dialogues)
    kept = _session_log(session, log) if session else resume
    slots = _slots(kept if kept and kept.exists() else resume)
    journal = None if no_log and not session else _journal(mind, log, kept)
    counter = _counter(mind, journal, keep_personal, slots)
    screen = _screen(plain)
    if slots and not as_json:
        typer.echo(_resumed(mind, session or str(resume), slots))
    for line in _lines_in(as_json, plain, None if no_log else log):
        message = counter.say(line)
        if as_json:
            write(json.dumps(message["turn"], ensure_ascii=False))
        else:
            screen(message)
        if message["turn"]["kind"] == "goodbye":
            break
    counter.close()


@app.command()
def ask(
    words: Annotated[list[str], typer.Argument(help="The opening, in your own words.")],
    knowledge: Knowledge = None,
    dialogues: Dialogues = None,
    as_json: AsJson = False,
    plain: Plain = False,
    log: Log = None,
    no_log: NoLog = False,
    keep_personal: KeepPersonal = False,
) -> None:
    """Answer once: the set, or the set that is safe in every remaining case and what is still open."""
    mind = _mind(knowledge, dialogues)
    counter = _counter(mind, None if no_log else _journal(mind, log), keep_personal)
    message = counter.say(" ".join(words), one_shot=True)
    if as_json:
        write(json.dumps(message["turn"], ensure_ascii=False))
    else:
        _screen(plain)(message)
    counter.close()


@app.command(name="write-up")
def write_up(
    words: Annotated[
        list[str] | None, typer.Argument(help="The opening in your own words, beside a session's.")
    ] = None,
    session: Named = None,
    form: Annotated[str, typer.Option("--format", help="text, markdown or html.")] = "text",
    output: Annotated[Path | None, typer.Option(help="The file to write; without one, standard output.")] = None,
    knowledge: Knowledge = None,
    dialogues: Dialogues = None,
    log: Log = None,
) -> None:
    """Write a set up to hand over: opening, set, preparation, reasons, assumptions, what to verify, cautions."""
    from advisor.front.documents import FORMS

    if form not in FORMS:
        refuse(f"{form}: no such format. Formats: {', '.join(FORMS)}", 2)
    kept = _session_log(session, log) if session else None
    if kept and not kept.exists():
        refuse(f"{session}: no such session in {kept.parent}.", 2)
    mind = _mind(knowledge, dialogues)
    counter = _counter(mind, None, keep_personal=True, slots=_slots(kept))
    if words:
        counter.say(" ".join(words))
    message = counter.say(mind.book.wording["write_it_up"])
    counter.close()
    document = FORMS[form](message["blocks"])
    if output:
        output.write_text(document, encoding="utf-8")
    else:
        write(document.rstrip("\n"))


@app.command()
def hear(
    words: Annotated[list[str] | None, typer.Argument(help="A message; without one, lines of standard input.")] = None,
    asked: Annotated[str | None, typer.Option(help="The fact that was asked before.")] = None,
    knowledge: Knowledge = None,
    dialogues: Dialogues = None,
    as_json: AsJson = False,
) -> None:
    """Show what is heard in a message, and nothing concluded from it."""
    mind = _mind(knowledge, dialogues)
    if asked is not None and asked not in mind.graph.kinds:
        refuse(f"{asked}: no such fact. Facts: {', '.join(sorted(mind.graph.kinds))}", 2)
    counter = _counter(mind, None, keep_personal=True)
    for line in [" ".join(words)] if words else _stdin():
        heard = counter.hear(line, asked)
        write(json.dumps(heard, ensure_ascii=False) if as_json else "\n".join(_heard_lines(heard)))
    counter.close()


@app.command()
def check(
    knowledge: Knowledge = None,
    dialogues: Dialogues = None,
    with_notes: Annotated[bool, typer.Option("--notes", help="Say every note too, not their number alone.")] = False,
) -> None:
    """Check every knowledge and dialogue file and say what is wrong, with file and line."""
    from collections import Counter

    from advisor.reasoning.check import check as check_graph
    from advisor.reasoning.check import notes

    mind = _mind(knowledge, dialogues, to_check=True)
    problems = list(check_graph(mind.judge)) + _lookup_problems(mind)
    for line in problems:
        typer.echo(line)
    noted = list(notes(mind.judge))
    for note in noted if with_notes else ():
        typer.echo(f"note: {note}")
    graph = mind.graph
    counts = f"{len(graph.rules)} rules, {len(graph.items)} items, {len(graph.arrangements)} arrangements"
    counted = Counter(note.kind for note in noted)
    told = ", ".join(f"{number} {kind}" for kind, number in counted.items()) or "none"
    typer.echo(f"{counts}, {len(mind.book.terms)} phrase entries (notes: {told}): {len(problems)} problems")
    raise typer.Exit(1 if problems else 0)


@app.command(name="serve-actions")
def serve_actions(
    knowledge: Knowledge = None,
    dialogues: Dialogues = None,
    port: Annotated[int, typer.Option(help="The port on this machine.")] = 5055,
) -> None:
    """Serve the same actions over HTTP as a rasa-sdk action server, on this machine only."""
    from rasa_sdk.endpoint import create_app

    from advisor.conversation.counter import executor_of

    served = create_app(executor_of(_mind(knowledge, dialogues)), cors_origins=[])
    served.run(host="127.0.0.1", port=port, single_process=True, motd=False, access_log=False)


def _mind(knowledge: list[Path] | None, dialogues: list[Path] | None, to_check: bool = False) -> Mind:
    from advisor.conversation.mind import build, load

    try:
        folders = (knowledge or (), dialogues or ())
        mind = load(*folders, with_cases=True) if to_check else build(*folders)
    except AdvisorError as problem:
        refuse(problem, 1)
    mind.warm_up()
    gc.freeze()
    gc.enable()
    return mind


def _lookup_problems(mind: Mind) -> list[str]:
    problems = []
    for part in ("lookups", "care"):
        try:
            getattr(mind, part)
        except AdvisorError as problem:
            problems.append(str(problem))
    return problems


def _counter(mind: Mind, journal: Journal | None, keep_personal: bool, slots: dict[str, Any] | None = None) -> Counter:
    from advisor.conversation.counter import Counter
    from advisor.conversation.privacy import masker_of

    def append(events: list[dict[str, Any]]) -> None:
        nonlocal journal
        if journal is None:
            return
        try:
            journal.append(events)
        except JournalError as problem:
            typer.echo(str(problem), err=True)
            journal = None

    return Counter(mind, append, None if keep_personal else masker_of(mind.book), slots)


def _journal(mind: Mind, folder: Path | None, resumed: Path | None = None) -> Journal | None:
    from advisor.conversation.journal import Journal

    stamp = time.strftime("%Y-%m-%d_%H%M%S")
    try:
        path = resumed or (folder or state_folder()) / f"{stamp}_{os.getpid()}.jsonl"
        return Journal(path, time.time, mind.graph.fingerprint, resumed=path.exists())
    except JournalError as problem:
        typer.echo(str(problem), err=True)
        return None


def _resumed(mind: Mind, name: str, slots: dict[str, Any]) -> str:
    from advisor.conversation.session import from_slots
    from advisor.conversation.speak import Speaker

    return mind.book.wording["resumed"].format(name=name, opening=Speaker(mind).opening(from_slots(slots).sheet))


def _session_log(name: str, folder: Path | None) -> Path:
    """Where the session of a name is kept. A name is letters, digits, spaces, dots, dashes and underscores."""
    if not re.fullmatch(r"[\w][\w .-]{0,80}", name):
        refuse(f"{name!r} is no name for a session: letters, digits, spaces, dots, dashes, underscores.", 2)
    return (folder or state_folder()) / "sessions" / f"{name}.jsonl"


def _slots(resumed: Path | None) -> dict[str, Any] | None:
    if resumed is None:
        return None
    from advisor.review.logs import slots_of

    try:
        return slots_of(resumed)
    except AdvisorError as problem:
        refuse(problem, 1)


def _screen(plain: bool) -> Any:
    from advisor.front.terminal import show_plain, show_rich

    return show_plain if plain or not sys.stdout.isatty() else show_rich


def _lines_in(as_json: bool, plain: bool, log: Path | None) -> Iterator[str]:
    if as_json or plain or not sys.stdin.isatty():
        yield from _stdin()
        return
    from advisor.front.terminal import typed_lines

    yield from typed_lines()


def _stdin() -> Iterator[str]:
    """Lines of standard input; bytes that are no UTF-8 stay visible instead of stopping the conversation."""
    for raw in sys.stdin.buffer:
        yield raw.decode("utf-8", errors="replace").rstrip("\r\n")


def _heard_lines(heard: dict[str, Any]) -> Iterator[str]:
    for each, term in zip(heard["heard"], heard["terms"], strict=True):
        value = json.dumps(each["value"], ensure_ascii=False)
        by = f", {term}" if term else ""
        yield f'{each["fact"]} = {value}  ({each["how"]}, "{each["text"]}", {each["start"]}-{each["end"]}{by})'
    for want in heard["wants"]:
        yield f"wants {want['want']}" + (f" about {want['about']}" if want["about"] else "")
    for mention in heard["mentions"]:
        yield f"mentions {mention['item']}" + (" (denied)" if mention["denied"] else "")
    for unclear in heard["ambiguous"]:
        yield f'unclear "{unclear["text"]}": {"; ".join(unclear["readings"])}'
    for words in heard["not_understood"]:
        yield f"not understood: {words}"
