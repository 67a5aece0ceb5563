"""Every error the advisor raises on purpose.

    AdvisorError
    ├── DataError            a data file is wrong: file, line, what is wrong, what is allowed
    │   ├── KnowledgeError   under knowledge_graph/
    │   │   ├── RuleConflict two rules disagree for some facts; names both files
    │   │   └── RuleCycle    implications that depend on each other; names the whole cycle
    │   └── PhrasebookError  under dialogues/
    └── JournalError         a logged conversation can't be written or read

What a customer types is never an error: it is a turn with an answer.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class AdvisorError(Exception):
    """Anything the advisor refuses to do, with a sentence a person understands."""


class DataError(AdvisorError):
    """A data file that can't be used, said as file and line, what is wrong, what is allowed."""

    def __init__(self, place: object, problem: str, allowed: Iterable[str] = (), got: str | None = None) -> None:
        allowed = sorted(allowed)
        text = f"{place}: {problem}"
        if allowed:
            text += f" Allowed: {', '.join(allowed)}."
            near = difflib.get_close_matches(got, allowed, n=1) if got else []
            if near:
                text += f" (Did you mean {near[0]!r}?)"
        super().__init__(text)


class KnowledgeError(DataError):
    """A file under knowledge_graph/ is wrong."""


class RuleConflict(KnowledgeError):
    """Two rules require and forbid the same thing for the same facts."""


class RuleCycle(KnowledgeError):
    """Implications that wait for each other."""


class PhrasebookError(DataError):
    """A file under dialogues/ is wrong."""


class JournalError(AdvisorError):
    """A session's log can't be written or read."""
