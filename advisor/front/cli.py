"""The command line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from advisor.errors import AdvisorError
from advisor.yaml_files import data_folder

app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)

Knowledge = Annotated[Path | None, typer.Option(help="A knowledge folder to use instead of the built-in one.")]


@app.callback()
def callback() -> None:
    """Advice for openings, at the counter."""


@app.command()
def check(knowledge: Knowledge = None) -> None:
    """Check every knowledge and dialogue file and say what is wrong, with file and line."""
    from advisor.knowledge.load import load_knowledge
    from advisor.reasoning.check import check as check_graph
    from advisor.reasoning.infer import Judge

    try:
        graph = load_knowledge(knowledge or data_folder("knowledge_graph"))
    except AdvisorError as problem:
        typer.echo(str(problem))
        raise typer.Exit(1) from None
    problems = list(check_graph(Judge(graph)))
    for line in problems:
        typer.echo(line)
    typer.echo(f"{len(graph.rules)} rules, {len(graph.items)} items, {len(graph.arrangements)} arrangements; {len(problems)} problems")
    raise typer.Exit(1 if problems else 0)
