"""What the readers of knowledge files ask of a single entry; anything else is refused with file and line."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Any

from advisor.errors import KnowledgeError
from advisor.yaml_files import Mapping, Place


def one_of(data: Mapping, key: str, allowed: Sequence[str], default: str | None = None) -> Any:
    """The value under a key, which must be one of those allowed.

    Raises:
        KnowledgeError: it is another, or missing where there is no default.
    """
    value = data.get(key, default)
    if value not in allowed:
        raise KnowledgeError(data.at(key), f"{key!r} can't be {value!r}.", allowed, got=str(value))
    return value


def sentence(data: Mapping, key: str) -> str:
    """The text under a key without the space around it; none where the key is absent.

    Raises:
        KnowledgeError: it is no text, or blank.
    """
    value = data.get(key, "")
    if not isinstance(value, str) or (key in data and not value.strip()):
        raise KnowledgeError(data.at(key), f"{key!r} must be text.")
    return value.strip()


def check_known(names: Iterable[str], allowed: Collection[str], place: Place, what: str) -> None:
    """Refuse a name of nothing.

    Raises:
        KnowledgeError: a name is not among those allowed.
    """
    for name in names:
        if name not in allowed:
            raise KnowledgeError(place, f"There is no {what} {name!r}.", allowed, got=name)
