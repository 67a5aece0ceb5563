"""YAML files read as text with line numbers, and the place they are found.

Every scalar stays the text that was written: the kind of the fact it belongs to decides how it is read, so that
``yes``, ``1010.10`` and ``3070`` mean what their writer meant.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import yaml

from advisor.errors import DataError


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Reads structure only. Guessing what a scalar means is left out: all stay text, and it is the slowest part."""

    def resolve(self, kind: type[yaml.Node], value: object, implicit: object) -> str:
        return "tag:yaml.org,2002:str"

    def descend_resolver(self, parent: object, index: object) -> None:
        pass

    def ascend_resolver(self) -> None:
        pass


class Place(NamedTuple):
    """A line of a file, said as ``file:line``."""

    file: str
    line: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}"


class Mapping(dict[str, Any]):
    """A YAML mapping that knows where it and each of its keys stand."""

    place: Place
    places: dict[str, Place]

    def at(self, key: str) -> Place:
        """The place of a key, or of the mapping where the key is absent."""
        return self.places.get(key, self.place)


class Sequence(list[Any]):
    """A YAML sequence that knows where it and each of its entries stand."""

    place: Place
    places: list[Place]


NOTHING = Mapping()
NOTHING.place, NOTHING.places = Place("nowhere", 0), {}


def read(
    path: Path, shown: str | None = None, error: type[DataError] = DataError, leaving_out: str | None = None
) -> Mapping:
    """The mapping a YAML file holds, every scalar as text.

    Args:
        path: the file.
        shown: how the file is named in errors; by default the path.
        error: the class raised.
        leaving_out: a key at the top whose list is not read and comes out empty; lines keep their numbers.

    Raises:
        DataError: not UTF-8, not YAML, a key twice in one mapping, no mapping at the top, or something inside itself.
    """
    name = shown or str(path)
    try:
        written = path.read_bytes()
        node = yaml.compose(_without(written, leaving_out) if leaving_out else written, Loader=_Loader)
    except yaml.MarkedYAMLError as problem:
        line = problem.problem_mark.line + 1 if problem.problem_mark else 1
        raise error(Place(name, line), f"This is not YAML: {problem.problem}.") from None
    except (yaml.YAMLError, UnicodeDecodeError, OSError) as problem:
        raise error(Place(name, 1), f"This file can't be read: {problem}.") from None
    if not isinstance(node, yaml.MappingNode):
        raise error(Place(name, 1), "The file must hold a mapping (key: value) at the top.")
    try:
        made: Mapping = _convert(node, name, error)
    except RecursionError:
        raise error(Place(name, 1), "Something in this file stands inside itself, or too deep.") from None
    return made


def _without(written: bytes, key: str) -> bytes:
    """The file with the list under a key at the top emptied, and no line moved."""
    block = rb"(?m)^%b:[^\n]*(?:\n(?:[ \t#-][^\n]*)?(?=\n|\Z))*" % key.encode()
    return re.sub(block, lambda found: b"%b: []" % key.encode() + b"\n" * found.group().count(b"\n"), written)


def _convert(node: yaml.Node, name: str, error: type[DataError]) -> Any:
    if isinstance(node, yaml.ScalarNode):
        return node.value
    place = Place(name, node.start_mark.line + 1)
    if isinstance(node, yaml.SequenceNode):
        sequence = Sequence(_convert(entry, name, error) for entry in node.value)
        sequence.place = place
        sequence.places = [Place(name, entry.start_mark.line + 1) for entry in node.value]
        return sequence
    mapping = Mapping()
    mapping.place, mapping.places = place, {}
    for key_node, value_node in node.value:
        at = Place(name, key_node.start_mark.line + 1)
        if not isinstance(key_node, yaml.ScalarNode):
            raise error(at, "A key must be plain text.")
        if key_node.value in mapping:
            raise error(at, f"The key {key_node.value!r} stands here twice.")
        mapping[key_node.value] = _convert(value_node, name, error)
        mapping.places[key_node.value] = at
    return mapping


def check_keys(
    mapping: Any,
    needed: Iterable[str],
    optional: Iterable[str],
    error: type[DataError],
    place: Place | None = None,
) -> None:
    """Refuse what is no mapping, lacks a needed key or holds one nobody reads.

    Args:
        mapping: what was read.
        needed: the keys it must have.
        optional: the keys it may have.
        error: the class raised.
        place: where it stands; by default where it says so itself, which text can't.

    Raises:
        DataError: with the place of the wrong or missing key.
    """
    needed, optional = set(needed), set(optional)
    if not isinstance(mapping, Mapping):
        raise error(place or getattr(mapping, "place", "?"), "This must be a mapping.", needed | optional)
    for key in mapping:
        if key not in needed | optional:
            raise error(mapping.at(key), f"The key {key!r} is not known here.", needed | optional, got=key)
    for key in sorted(needed):
        if key not in mapping:
            raise error(mapping.place, f"The key {key!r} is missing.")


def text(mapping: Mapping, key: str, error: type[DataError], default: str = "") -> str:
    """The text under a key, or the default where the key is absent.

    Raises:
        DataError: it is no text, or blank.
    """
    value = mapping.get(key, default)
    if not isinstance(value, str) or (key in mapping and not value.strip()):
        raise error(mapping.at(key), f"{key!r} takes text.")
    return value


def texts(mapping: Mapping, key: str, error: type[DataError]) -> tuple[str, ...]:
    """The texts under a key: one, several, or none where the key is absent.

    Raises:
        DataError: an entry is not text.
    """
    value = mapping.get(key, ())
    listed = (value,) if isinstance(value, str) else value
    if not isinstance(listed, list | tuple) or not all(isinstance(entry, str) for entry in listed):
        raise error(mapping.at(key), f"{key!r} takes text or a list of texts.")
    return tuple(listed)


def inner(mapping: Mapping, key: str, error: type[DataError]) -> Mapping:
    """The mapping under a key, or one that holds nothing where the key is absent.

    Raises:
        DataError: it is no mapping.
    """
    value = mapping.get(key, NOTHING)
    if not isinstance(value, Mapping):
        raise error(mapping.at(key), f"{key!r} is a mapping (key: value).")
    return value


def entries(mapping: Mapping, key: str, error: type[DataError]) -> list[tuple[Any, Place]]:
    """What the list under a key holds, of whatever kind, each with its place; nothing where the key is absent.

    Raises:
        DataError: it is no list.
    """
    if key not in mapping:
        return []
    value = mapping[key]
    if not isinstance(value, Sequence):
        raise error(mapping.at(key), f"{key!r} takes a list.")
    return list(zip(value, value.places, strict=True))


def data_folder(name: str) -> Path:
    """Where a data folder lies: inside the installed package, or beside it in a checkout.

    Raises:
        DataError: it lies in neither place.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "_shipped" / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise DataError(package, f"The data folder {name!r} was not found beside or inside the package.")


def files_under(folder: Path) -> Iterator[tuple[Path, str]]:
    """Every YAML file below a folder with its name relative to the folder's parent, sorted."""
    for path in sorted(folder.rglob("*.yaml")):
        yield path, str(path.relative_to(folder.parent))
