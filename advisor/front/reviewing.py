"""The command line for past sessions: replay, review, report, and the log's own upkeep."""

from __future__ import annotations

import gc
import json
import os
import sys
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from advisor.errors import AdvisorError
from advisor.front.common import Over, refuse, write

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from advisor.review.compare import Difference
    from advisor.review.replay import Batch, Replayed, Settings
    from advisor.review.tally import Tally
    from advisor.review.verdicts import Verdict

Paths = Annotated[
    list[str], typer.Argument(help="Log files, folders, patterns, or - for standard input.", show_default=False)
]
Against = Annotated[
    list[Path] | None, typer.Option(help="The knowledge to hold today's against: a whole folder, or one laid over it.")
]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON object a line.")]
Jobs = Annotated[int | None, typer.Option(min=1, help="How many processes work at once; by default one a core.")]
Scheduler = Annotated[str | None, typer.Option(help="The address of a Dask scheduler whose workers do the work.")]

log_app = typer.Typer(no_args_is_help=True, help="The session log's own upkeep.")

SHOW_PROGRESS_AFTER = 2.0


def add_to(app: typer.Typer) -> None:
    """Add the commands to the command line."""
    for command in (replay, review, report):
        app.command()(command)
    app.add_typer(log_app, name="log")


def replay(
    paths: Paths,
    knowledge: Over = None,
    dialogues: Over = None,
    against: Against = None,
    as_json: AsJson = False,
    jobs: Jobs = None,
    scheduler: Scheduler = None,
) -> None:
    """Say past sessions again to today's advisor and show what changed; exit code 1 when a recommendation did."""
    run = _Run(paths, _settings(knowledge, dialogues, against), jobs, scheduler)
    for batch in run.batches():
        for replayed in batch.replayed:
            if not replayed.differences and not replayed.set_change:
                continue
            if as_json:
                write(json.dumps(replayed.as_json(), ensure_ascii=False))
            else:
                write("\n".join(_differing(replayed, run.words)))
    tally = run.tally
    if as_json:
        write(json.dumps({"summary": tally.as_json()}, ensure_ascii=False))
    else:
        write("\n".join(_summary(tally, run)))
    raise typer.Exit(2 if run.failed else 1 if tally.changes["recommendation"] or tally.set_changes else 0)


def review(
    paths: Paths,
    knowledge: Over = None,
    dialogues: Over = None,
    to_case: Annotated[str | None, typer.Option(help="Write this session (file#number) as a test case.")] = None,
    into: Annotated[Path | None, typer.Option(help="The file the test case goes to; else standard output.")] = None,
    reviewer: Annotated[str, typer.Option(help="Who reviews.")] = "",
    again: Annotated[bool, typer.Option("--again", help="Sessions with a verdict too, for a second opinion.")] = False,
    agreement: Annotated[bool, typer.Option("--agreement", help="Only show what the verdicts come to.")] = False,
) -> None:
    """Walk through the sessions that matter most and mark them right, wrong or incomplete."""
    from advisor.review.verdicts import agreement as agreed
    from advisor.review.verdicts import beside, in_order, read_verdicts, reasons

    words = _words()
    store = beside(paths[0])
    try:
        verdicts = read_verdicts(store)
        if agreement:
            write("\n".join(_weeks(agreed(verdicts), words)) or words["review_no_verdicts"])
            return
        if to_case:
            _case(paths, to_case, _settings(knowledge, dialogues, None), verdicts, into, words)
            return
        run = _Run(paths, _settings(knowledge, dialogues, None), None, None)
        marked = set() if again else {one.session for one in verdicts}
        worth = (one for batch in run.batches() for one in batch.replayed if one.name not in marked and reasons(one))
        _walk(in_order(worth), run, store, reviewer)
    except AdvisorError as problem:
        refuse(problem, 2)


def report(
    paths: Paths,
    knowledge: Over = None,
    dialogues: Over = None,
    against: Against = None,
    as_json: AsJson = False,
    html: Annotated[Path | None, typer.Option(help="Write one HTML page with plots, readable offline.")] = None,
    jobs: Jobs = None,
    scheduler: Scheduler = None,
) -> None:
    """Count what was asked for, recommended, not understood and changed."""
    from advisor.review.page import PlotsMissing, page
    from advisor.review.replay import fingerprint_of
    from advisor.review.verdicts import agreement, beside, read_verdicts

    run = _Run(paths, _settings(knowledge, dialogues, against), jobs, scheduler)
    for _ in run.batches():
        pass
    counted = run.tally.as_json()
    try:
        weeks = agreement(read_verdicts(beside(paths[0])))
        if html:
            fingerprint = fingerprint_of(run.settings.knowledge)
            html.write_text(page(counted, weeks, run.words, fingerprint), encoding="utf-8")
            typer.echo(run.words["review_page_written"].format(path=html), err=True)
    except PlotsMissing:
        refuse(run.words["review_page_extra"], 2)
    except (AdvisorError, OSError) as problem:
        refuse(problem, 2)
    if as_json:
        write(json.dumps({**counted, "agreement": weeks}, ensure_ascii=False))
    else:
        write("\n".join([*_summary(run.tally, run), *_report_lines(counted, run.words), *_weeks(weeks, run.words)]))
    raise typer.Exit(2 if run.failed else 0)


@log_app.command()
def prune(
    older_than: Annotated[str, typer.Option(help="Sessions whose last turn is older go: 90d, 12w, 2y.")],
    log: Annotated[Path | None, typer.Option(help="The folder that session logs lie in.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only show what would go.")] = False,
) -> None:
    """Take away logs that are older than an age, and the verdicts on them."""
    from advisor.front.folders import state_folder
    from advisor.review.prune import days_of, old_logs
    from advisor.review.prune import prune as take_away

    words = _words()
    days, folder = days_of(older_than), log or state_folder()
    if days is None:
        raise typer.BadParameter(words["review_age"].format(age=older_than))
    if not folder.is_dir():
        refuse(words["review_no_folder"].format(path=folder), 2)
    paths = list(old_logs(folder, time.time() - days * 86400))
    if dry_run:
        for path in paths:
            write(words["review_would_prune"].format(path=path))
        return
    try:
        write(words["review_pruned"].format(logs=len(paths), verdicts=take_away(folder, paths)))
    except AdvisorError as problem:
        refuse(problem, 2)


class _Run:
    """One replay from paths to a tally, with the problems told and the progress shown as it goes."""

    def __init__(self, paths: list[str], settings: Settings, jobs: int | None, scheduler: str | None) -> None:
        from advisor.review.logs import find_files
        from advisor.review.tally import Tally

        # The start switched collecting off; a long run needs it.
        gc.enable()
        self.settings, self.scheduler, self.words = settings, scheduler, _words()
        self.files, problems = find_files(paths)
        self.failed = bool(problems)
        self.jobs = jobs or os.cpu_count() or 1
        self.tally: Tally = Tally()
        self.seconds = 0.0
        for problem in problems:
            self._tell(problem)

    def batches(self) -> Iterator[Batch]:
        """The batches, counted."""
        from advisor.review.logs import STDIN, raw_sessions
        from advisor.review.spread import cluster, spread, workers

        start = time.monotonic()
        total = None if STDIN in self.files else sum(Path(file).stat().st_size for file in self.files)
        try:
            with ExitStack() as stack:
                executor: Executor | None
                if self.scheduler:
                    executor, self.jobs = stack.enter_context(cluster(self.scheduler))
                else:
                    executor = stack.enter_context(workers(self.jobs))
                progress = stack.enter_context(_Progress(total))
                for batch in spread(raw_sessions(self.files), self.settings, executor, self.jobs):
                    progress.advance(batch.size)
                    self.tally.add(batch)
                    for problem in batch.problems:
                        self._tell(problem)
                    yield batch
        except AdvisorError as problem:
            refuse(problem, 2)
        self.seconds = time.monotonic() - start

    def _tell(self, problem: object) -> None:
        typer.echo(self.words["review_problem"].format(problem=problem), err=True)


class _Progress:
    """A bar on standard error, only at a terminal and only once the work takes longer than two seconds."""

    def __init__(self, total: int | None) -> None:
        self._total, self._done, self._start = total, 0, time.monotonic()
        self._bar: Any = None
        self._task: Any = None

    def __enter__(self) -> _Progress:
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar:
            self._bar.stop()

    def advance(self, size: int) -> None:
        """So many more bytes of log are done."""
        self._done += size
        if self._bar is None and sys.stderr.isatty() and time.monotonic() - self._start > SHOW_PROGRESS_AFTER:
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TaskProgressColumn, TimeRemainingColumn

            columns = (BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
            self._bar = Progress(*columns, console=Console(stderr=True), transient=True)
            self._task = self._bar.add_task("", total=self._total)
            self._bar.start()
        if self._bar:
            self._bar.update(self._task, completed=self._done)


def _settings(knowledge: list[Path] | None, dialogues: list[Path] | None, against: list[Path] | None) -> Settings:
    from advisor.review.replay import Settings

    # Absolute, so that workers started elsewhere on this machine find them.
    folders = [tuple(str(path.resolve()) for path in given or ()) for given in (knowledge, dialogues, against)]
    return Settings(folders[0], folders[1], folders[2] if against else None)


def _words() -> Mapping[str, str]:
    from advisor.yaml_files import data_folder, read

    return read(data_folder("dialogues") / "wording" / "review.yaml")


def _differing(replayed: Replayed, words: Mapping[str, str]) -> Iterator[str]:
    yield words["review_session"].format(session=replayed.name, place=replayed.place)
    for one in replayed.differences:
        what = ", ".join(words[f"review_what_{kind}"] for kind in one.kinds)
        key = "review_turn_follows" if one.follows else "review_turn"
        yield words[key].format(turn=one.turn, what=what, said=one.said)
        yield from _details(one, words)
    if replayed.set_change:
        for key, lines in (("gone", replayed.set_change.gone), ("come", replayed.set_change.come)):
            for leaf, item, quantity in lines:
                yield words[f"review_line_{key}"].format(line=f"{quantity} {item} ({leaf})")


def _details(one: Difference, words: Mapping[str, str]) -> Iterator[str]:
    from advisor.review.replay import shown_line

    none = words["review_none"]
    for line in one.lines:
        if line.before:
            yield words["review_line_gone"].format(line=shown_line(line.before))
            if line.now:
                yield words["review_line_now"].format(line=shown_line(line.now))
        else:
            yield words["review_line_come"].format(line=shown_line(line.now))
    if one.before["kind"] != one.now["kind"]:
        yield words["review_kind"].format(before=one.before["kind"], now=one.now["kind"])
    asked = [answer["question"]["fact"] if answer["question"] else none for answer in (one.before, one.now)]
    if asked[0] != asked[1]:
        yield words["review_asked"].format(before=asked[0], now=asked[1])
    if "hearing" in one.kinds:
        heard = [
            ", ".join(f"{each['fact']} {each['value']}" for each in said["heard"]) for said in (one.before, one.now)
        ]
        yield words["review_heard"].format(before=heard[0] or none, now=heard[1] or none)


def _summary(tally: Tally, run: _Run) -> Iterator[str]:
    words = run.words
    if not tally.sessions:
        yield words["review_nothing"]
        return
    yield words["review_sessions"].format(sessions=tally.sessions, turns=tally.turns, compared=tally.compared)
    yield words["review_time"].format(seconds=run.seconds, rate=tally.turns / max(run.seconds, 1e-9), jobs=run.jobs)
    changed = [(kind, count) for kind, count in tally.as_json()["changes"].items() if count]
    for kind, count in changed:
        yield words["review_changed"].format(count=count, what=words[f"review_what_{kind}"])
    if not changed and tally.compared:
        yield words["review_same"]
    if tally.follow_ups:
        yield words["review_follow_ups"].format(count=tally.follow_ups)
    if tally.other_knowledge:
        yield words["review_other_knowledge"].format(count=tally.other_knowledge)
    if run.settings.against is not None:
        yield from _against(tally, words)
    if tally.problem_count:
        yield words["review_problems"].format(count=tally.problem_count)


def _against(tally: Tally, words: Mapping[str, str]) -> Iterator[str]:
    yield words["review_against"].format(count=tally.set_changes) if tally.set_changes else words["review_against_none"]
    for rule, names in sorted(tally.by_rule.items()):
        yield words["review_against_rule"].format(rule=rule, count=len(names))
        for name in names:
            yield words["review_against_session"].format(session=name)
    only = {name for names in tally.by_rule_only_reasons.values() for name in names}
    if only:
        yield words["review_against_reasons"].format(count=len(only))


def _report_lines(counted: Mapping[str, Any], words: Mapping[str, str]) -> Iterator[str]:
    shown = (
        "asked_for",
        "items",
        "rules",
        "lines_by_strength",
        "questions",
        "questions_per_session",
        "not_understood",
        "unknown_facts",
        "answers",
        "worth_a_review",
    )
    for key in shown:
        counts = {name: count for name, count in counted[key].items() if count}
        yield ""
        yield words[f"review_title_{key}"]
        for name, count in list(counts.items())[:10]:
            yield f"{count:7}  {name}"
        if not counts:
            yield f"         {words['review_page_empty']}"
    yield ""
    yield words["review_title_slowest_turns"]
    for one in counted["slowest_turns"][:5]:
        yield f"{one['milliseconds']:7}  {one['session']}, {one['turn']}"


def _weeks(weeks: Sequence[Mapping[str, Any]], words: Mapping[str, str]) -> Iterator[str]:
    for one in weeks:
        second = ""
        if one["second_opinions"]:
            second = words["review_week_second"].format(agreed=one["agreed"], second=one["second_opinions"])
        yield words["review_week"].format(share=one["share_right"], **one) + second


def _walk(worth: Sequence[Replayed], run: _Run, store: Path, reviewer: str) -> None:
    from advisor.review.replay import fingerprint_of
    from advisor.review.verdicts import Verdict, keep, reasons

    words, kept = run.words, 0
    fingerprint = fingerprint_of(run.settings.knowledge)
    for number, replayed in enumerate(worth, start=1):
        why = ", ".join(words[f"review_why_{reason}"] for reason in reasons(replayed))
        shown = {"number": number, "count": len(worth), "session": replayed.name, "why": why}
        write(words["review_shown"].format(**shown))
        for said, reply in _conversation(run, replayed.name):
            write(words["review_said"].format(text=said))
            write(words["review_answered"].format(text=reply))
        if replayed.differences:
            write("\n".join(_differing(replayed, words)))
        word = _asked_verdict(words)
        if word == "quit":
            break
        if word == "skip":
            continue
        remark = _typed(words["review_remark"]) or ""
        keep(store, Verdict(replayed.name, word, remark, reviewer, fingerprint, time.time()))
        kept += 1
    if not worth:
        write(words["review_none_left"])
    write(words["review_kept"].format(count=kept, path=store))


def _asked_verdict(words: Mapping[str, str]) -> Any:
    choices = {"r": "right", "w": "wrong", "i": "incomplete", "s": "skip", "q": "quit"}
    while True:
        typed = _typed(words["review_prompt"])
        if typed is None:
            return "quit"
        if typed.strip().lower()[:1] in choices:
            return choices[typed.strip().lower()[:1]]
        write(words["review_not_a_verdict"])


def _typed(prompt: str) -> str | None:
    """A line typed, or None at the end of input."""
    sys.stdout.write(f"{prompt}: ")
    sys.stdout.flush()
    line = sys.stdin.readline()
    return line.rstrip("\n") if line else None


def _conversation(run: _Run, name: str) -> Iterator[tuple[str, str]]:
    """Each line of a session with the answer on record, or with today's where there is none."""
    from advisor.review.logs import find_session
    from advisor.review.replay import masked

    session = find_session(run.files, name)
    if session is None:
        return
    if all(turn.answer for turn in session.turns):
        yield from ((turn.said, turn.answer["reply"]) for turn in session.turns if turn.answer)
        return
    session = masked(session, run.settings)
    yield from zip(
        (turn.said for turn in session.turns), (one["reply"] for one in _answers(session, run.settings)), strict=True
    )


def _answers(session: Any, settings: Settings) -> Sequence[Mapping[str, Any]]:
    from dataclasses import replace

    from advisor.review.replay import replay as say_again

    return say_again(session, replace(settings, keep_answers=True, against=None)).answers


def _case(
    paths: list[str],
    name: str,
    settings: Settings,
    verdicts: Iterable[Verdict],
    into: Path | None,
    words: Mapping[str, str],
) -> None:
    from advisor.review.logs import find_files, find_session
    from advisor.review.replay import masked, mind_of
    from advisor.review.verdicts import as_case

    session = find_session(find_files(paths)[0], name)
    if session is None:
        refuse(words["review_no_session"].format(session=name), 2)
    session = masked(session, settings)
    verdict = next((one for one in reversed(list(verdicts)) if one.session == name), None)
    text = as_case(session, _answers(session, settings), verdict, mind_of(settings.knowledge, ()).graph)
    if into is None:
        write(text.rstrip("\n"))
        return
    if into.exists():
        refuse(words["review_overwritten"].format(path=into), 2)
    into.write_text(text, encoding="utf-8")
    write(words["review_case_written"].format(path=into))
