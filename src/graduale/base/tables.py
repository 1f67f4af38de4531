"""Packaged tables: `data/*.toml` inside a room, every row with a `source`."""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

Table = Mapping[str, Any]

_LABELS = {"source", "title"}


@cache
def table(room: str, name: str) -> Table:
    """The parsed `data/<name>.toml` of a room, e.g. table('graduale.wood', 'species'); read-only.

    Errors: FileNotFoundError, tomllib.TOMLDecodeError: both are faults of the package.
    """
    text = files(room).joinpath("data", f"{name}.toml").read_text(encoding="utf-8")
    frozen: Table = _frozen(tomllib.loads(text))
    return frozen


def sources(content: Table) -> dict[str, str | None]:
    """Dotted path of every row -> its source, None where it is missing.

    A row is a table with at least one plain value; its source also holds for tables below it.
    """
    return dict(_walk(content, (), None))


def _walk(content: Table, path: tuple[str, ...], above: str | None) -> list[tuple[str, str | None]]:
    source = content.get("source", above)
    plain = [k for k, v in content.items() if k not in _LABELS and not _is_nest(v)]
    found: list[tuple[str, str | None]] = [(".".join(path), source)] if plain and path else []
    for key, value in content.items():
        if isinstance(value, Mapping):
            found += _walk(value, (*path, key), source)
        elif _is_nest(value):
            for i, row in enumerate(value):
                found += _walk(row, (*path, f"{key}[{i}]"), source)
    return found


def _is_nest(value: Any) -> bool:
    if isinstance(value, Mapping):
        return True
    return isinstance(value, (list, tuple)) and bool(value) and isinstance(value[0], Mapping)


def _frozen(value: Any) -> Any:
    if isinstance(value, dict):
        return MappingProxyType({k: _frozen(v) for k, v in value.items()})
    if isinstance(value, list):
        return tuple(_frozen(v) for v in value)
    return value
