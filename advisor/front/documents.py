"""A reply's blocks as a document a person can hand over: text, Markdown, or a page ready for the printer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from html import escape
from typing import Any

from advisor.conversation.turn import Block, plain

STYLE = """
@page { margin: 18mm; }
body { font: 11pt/1.4 Georgia, serif; color: #111; max-width: 46rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.3rem; border-bottom: 2px solid #111; padding-bottom: .3rem; }
h2 { font-size: 1rem; margin: 1.4rem 0 .3rem; break-after: avoid; }
table { border-collapse: collapse; width: 100%; font-size: .92em; }
th, td { text-align: left; vertical-align: top; padding: .25rem .5rem .25rem 0; border-bottom: 1px solid #bbb; }
th { border-bottom: 2px solid #111; }
tr, li { break-inside: avoid; }
ul { margin: .2rem 0; padding-left: 1.1rem; }
.closing { margin-top: 1.6rem; border-top: 1px solid #111; padding-top: .5rem; font-style: italic; }
@media print { body { margin: 0; max-width: none; } }
"""


def as_markdown(blocks: Sequence[dict[str, Any]]) -> str:
    """The blocks as Markdown: the first title is the heading, the others sections."""
    parts = []
    for number, block in enumerate(blocks):
        lines = []
        if block["title"]:
            lines += [f"{'#' if number == 0 else '##'} {_inline(block['title'])}", ""]
        if block["headings"]:
            lines += [_row(block["headings"]), _row("---" for _ in block["headings"])]
            lines += [_row(row) for row in block["rows"]]
        elif number == 0 or not block["title"]:
            lines += [line for text in block["lines"] for line in (_inline(text), "")]
        else:
            lines += [f"- {_inline(text)}" for text in block["lines"]]
        parts.append("\n".join(lines).rstrip())
    return "\n\n".join(part for part in parts if part) + "\n"


def _row(cells: Iterable[str]) -> str:
    return "| " + " | ".join(_inline(cell).replace("|", "\\|") for cell in cells) + " |"


def _inline(text: str) -> str:
    """Text in which nothing reads as markup."""
    return "".join(f"\\{letter}" if letter in "\\`*_[]<>#" else letter for letter in text)


def as_html(blocks: Sequence[dict[str, Any]]) -> str:
    """The blocks as one page with nothing loaded from elsewhere, laid out for the printer."""
    parts = []
    for number, block in enumerate(blocks):
        if block["title"]:
            tag = "h1" if number == 0 else "h2"
            parts.append(f"<{tag}>{escape(block['title'])}</{tag}>")
        if block["headings"]:
            head = "".join(f"<th>{escape(cell)}</th>" for cell in block["headings"])
            rows = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in block["rows"])
            parts.append(f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>")
        elif number == 0:
            parts += [f"<p>{escape(text)}</p>" for text in block["lines"]]
        elif not block["title"]:
            parts += [f'<p class="closing">{escape(text)}</p>' for text in block["lines"]]
        else:
            parts.append("<ul>" + "".join(f"<li>{escape(text)}</li>" for text in block["lines"]) + "</ul>")
    title = escape(blocks[0]["title"] if blocks else "")
    head = f'<meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>{title}</title>'
    body = "\n".join(parts)
    page = f'<html lang="en"><head>{head}<style>{STYLE}</style></head>\n<body>\n{body}\n</body></html>'
    return f"<!doctype html>\n{page}\n"


def as_text(blocks: Sequence[dict[str, Any]]) -> str:
    """The blocks as plain text."""
    return plain([Block(block["title"], block["lines"], block["headings"], block["rows"]) for block in blocks]) + "\n"


FORMS: dict[str, Callable[[Sequence[dict[str, Any]]], str]] = {
    "text": as_text,
    "markdown": as_markdown,
    "html": as_html,
}
