"""The report as one HTML page that needs nothing beside it: plots as SVG drawn by matplotlib, the rest as tables."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from importlib import import_module
from typing import Any

from advisor.errors import AdvisorError

Words = Mapping[str, str]
MOST_BARS = 15
MOST_ROWS = 40
_INK, _BAR = "#1d2733", "#2f6f8f"
_BASIS_COLORS = ("#1f4e6b", "#2f6f8f", "#6aa3bd", "#b9cfda", "#d9822b")
_STYLE = """
:root { color-scheme: light; }
body { font: 15px/1.45 system-ui, sans-serif; color: #1d2733; background: #f4f6f8; margin: 0; }
main { max-width: 72rem; margin: 0 auto; padding: 1.5rem; }
h1 { font-size: 1.5rem; margin: 0 0 .25rem; }
h2 { font-size: 1rem; margin: 0 0 .5rem; }
.numbers { display: flex; flex-wrap: wrap; gap: .75rem; margin: 1rem 0; padding: 0; list-style: none; }
.numbers li { background: #fff; border: 1px solid #d5dbe1; border-radius: 6px; padding: .5rem .9rem; }
.numbers b { display: block; font-size: 1.35rem; }
.grid { display: grid; grid-template-columns: repeat(auto-fit, minmax(26rem, 1fr)); gap: 1rem; align-items: start; }
section { background: #fff; border: 1px solid #d5dbe1; border-radius: 6px; padding: .9rem; overflow-x: auto; }
section svg { width: 100%; height: auto; display: block; }
section.wide { grid-column: 1 / -1; }
table { border-collapse: collapse; width: 100%; font-size: .9rem; }
td, th { text-align: left; padding: .2rem .6rem .2rem 0; border-bottom: 1px solid #eceff2; vertical-align: top; }
td.count { text-align: right; white-space: nowrap; }
p.none { color: #6b7785; margin: 0; }
@media (max-width: 34rem) { .grid { grid-template-columns: 1fr; } main { padding: .75rem; } }
@media print { body { background: #fff; } section { break-inside: avoid; } }
"""


class PlotsMissing(AdvisorError):
    """The plotting library isn't installed."""


def page(counted: Mapping[str, Any], weeks: Sequence[Mapping[str, Any]], words: Words, fingerprint: str) -> str:
    """The whole page.

    Args:
        counted: a tally as data.
        weeks: the verdicts week by week.
        words: the wording.
        fingerprint: of today's knowledge.

    Raises:
        PlotsMissing: the extra ``report`` isn't installed.
    """
    return "".join(_page(counted, weeks, words, fingerprint))


def _page(
    counted: Mapping[str, Any], weeks: Sequence[Mapping[str, Any]], words: Words, fingerprint: str
) -> Iterator[str]:
    title = escape(words["review_page_title"])
    yield f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<style>{_STYLE}</style></head><body><main><h1>{title}</h1>"
    sentence = words["review_page_intro"].format(
        sessions=counted["sessions"], turns=counted["turns"], fingerprint=fingerprint
    )
    yield f'<p>{escape(sentence)}</p><ul class="numbers">'
    for kind, count in counted["changes"].items():
        yield f"<li><b>{count}</b>{escape(words[f'review_what_{kind}'])}</li>"
    yield '</ul><div class="grid">'
    yield _section("by_day", _columns(counted["sessions_by_day"]), words)
    yield _section("lines_by_strength", _share(counted["lines_by_strength"], words), words)
    for key in ("asked_for", "questions", "not_understood", "unknown_facts", "items", "rules"):
        yield _section(key, _bars({_shown(name): count for name, count in counted[key].items()}), words)
    yield _section("questions_per_session", _columns(counted["questions_per_session"]), words)
    whys = {words[f"review_why_{why}"]: count for why, count in counted["worth_a_review"].items()}
    yield _section("worth_a_review", _bars(whys), words)
    yield _section("answers", _bars({_shown(kind): count for kind, count in counted["answers"].items()}), words)
    slow = {f"{one['session']}, {one['turn']}": one["milliseconds"] for one in counted["slowest_turns"]}
    yield _section("slowest_turns", _bars(slow), words)
    yield _section("changed_sessions", _table([[name] for name in counted["changed_sessions"]], words), words, True)
    if counted["by_rule"]:
        rows = [[rule, len(names), ", ".join(names[:5])] for rule, names in counted["by_rule"].items()]
        yield _section("by_rule", _table(rows, words), words, True)
    if weeks:
        keys = ("week", "verdicts", "right", "wrong", "incomplete", "share_right")
        rows = [[f"{one[key]:.0%}" if key == "share_right" else one[key] for key in keys] for one in weeks]
        yield _section("agreement", _table(rows, words, [_shown(key) for key in keys]), words, True)
    if counted["problems"]:
        rows = [[one["place"], one["text"]] for one in counted["problems"]]
        yield _section("problems", _table(rows, words), words, True)
    yield "</div></main></body></html>\n"


def _shown(name: str) -> str:
    return name.replace("_", " ")


def _section(key: str, body: str, words: Words, wide: bool = False) -> str:
    none = f'<p class="none">{escape(words["review_page_empty"])}</p>'
    title = escape(words[f"review_title_{key}"])
    return f"<section{' class=wide' if wide else ''}><h2>{title}</h2>{body or none}</section>"


def _table(rows: Sequence[Sequence[Any]], words: Words, headings: Sequence[str] = ()) -> str:
    if not rows:
        return ""
    head = "".join(f"<th>{escape(heading)}</th>" for heading in headings)
    body = "".join("<tr>" + "".join(_cell(cell) for cell in row) + "</tr>" for row in rows[:MOST_ROWS])
    more = len(rows) - MOST_ROWS
    rest = f"<p>{escape(words['review_page_more'].format(count=more))}</p>" if more > 0 else ""
    return f"<table>{f'<tr>{head}</tr>' if head else ''}{body}</table>{rest}"


def _cell(cell: Any) -> str:
    return f'<td class="count">{cell}</td>' if isinstance(cell, int) else f"<td>{escape(str(cell))}</td>"


def _figure(height: float) -> tuple[Any, Any]:
    try:
        figures: Any = import_module("matplotlib.figure")
    except ImportError:
        raise PlotsMissing("matplotlib") from None
    figure = figures.Figure(figsize=(6.4, height), layout="constrained")
    axes = figure.subplots()
    axes.spines[:].set_visible(False)
    axes.tick_params(length=0, colors=_INK, labelsize=9)
    return figure, axes


def _drawn(figure: Any) -> str:
    """The figure as an SVG element, the same bytes each time."""
    matplotlib: Any = import_module("matplotlib")
    out = io.StringIO()
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "advisor", "font.family": "sans-serif"}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None}, transparent=True)
    drawn = out.getvalue()
    return drawn[drawn.index("<svg") :]


def _bars(counts: Mapping[str, float]) -> str:
    """Bars lying one under the other, the longest on top."""
    shown = list(counts.items())[:MOST_BARS]
    if not shown:
        return ""
    figure, axes = _figure(0.55 + 0.27 * len(shown))
    bars = axes.barh(
        [_short(name) for name, _ in shown][::-1], [count for _, count in shown][::-1], color=_BAR, height=0.7
    )
    axes.bar_label(bars, padding=3, fontsize=9, color=_INK, fmt="%g")
    axes.set_xticks([])
    axes.margins(x=0.12, y=0.02)
    return _drawn(figure)


def _short(name: str) -> str:
    return name if len(name) <= 44 else f"{name[:43]}…"


def _columns(counts: Mapping[str, int]) -> str:
    """Columns standing side by side, in the order given."""
    if not counts:
        return ""
    figure, axes = _figure(2.4)
    names = list(counts)[-31:]
    bars = axes.bar(names, [counts[name] for name in names], color=_BAR, width=0.7)
    axes.bar_label(bars, padding=2, fontsize=9, color=_INK)
    axes.set_yticks([])
    axes.margins(y=0.15)
    if any(len(name) > 4 for name in names):
        axes.set_xticks(range(len(names)), [name[5:] for name in names])
    if len(names) > 10:
        axes.tick_params(axis="x", rotation=90)
    return _drawn(figure)


def _share(counts: Mapping[str, int], words: Words) -> str:
    """One bar in parts, with what each part stands for."""
    total = sum(counts.values())
    if not total:
        return ""
    figure, axes = _figure(1.7)
    left = 0
    for (basis, count), color in zip(counts.items(), _BASIS_COLORS, strict=True):
        if count:
            label = f"{words[f'review_basis_{basis}']}: {count} ({count / total:.0%})"
            axes.barh([""], [count], left=left, color=color, label=label, height=0.6)
        left += count
    axes.set_axis_off()
    axes.set_xlim(0, total)
    figure.legend(loc="outside lower center", ncols=2, frameon=False, fontsize=9)
    return _drawn(figure)
