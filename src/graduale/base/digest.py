"""One digest for inputs, code and versions: the key of each cache, the number on each sheet."""

import dataclasses
import hashlib
import importlib.util
import platform
import struct
from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, Protocol

import numpy as np

SHORT = 12
_LIBRARIES = ("numpy", "scipy", "shapely")


class _Hash(Protocol):
    def update(self, data: bytes, /) -> None: ...
    def hexdigest(self) -> str: ...


def digest(*parts: object) -> str:
    """SHA-256 (64 hex digits) over the values of `parts`, the same on every run and machine.

    Takes None, bool, int, float, str, bytes (a path only as text), sequences, mappings with
    text keys (order does not count), sets of text, dataclasses and numpy arrays of numbers.
    -0.0 counts as 0.0 and every NaN as one. Errors: TypeError for anything else.
    """
    sha = hashlib.sha256()
    for part in parts:
        _feed(sha, part)
    return sha.hexdigest()


def short(full: str) -> str:
    """The first twelve digits, as printed on sheets."""
    return full[:SHORT]


@cache
def code_digest(*packages: str) -> str:
    """SHA-256 over the source and table files of rooms such as 'graduale.box', or of single modules
    such as 'graduale.jobs.reference'; nothing is imported for it.

    Errors: ModuleNotFoundError when a package is not there.
    """
    sha = hashlib.sha256()
    for package in sorted(set(packages)):
        for name, content in _sources(package):
            _tagged(sha, b"file", f"{package}/{name}".encode())
            _tagged(sha, b"text", content)
    return sha.hexdigest()


@cache
def versions() -> tuple[tuple[str, str], ...]:
    """Name and version of Python and of each library that can move a number."""
    libraries = [(name, version(name)) for name in _LIBRARIES]
    return (("python", platform.python_version()), *libraries)


def _sources(package: str) -> list[tuple[str, bytes]]:
    spec = importlib.util.find_spec(package)
    if spec is not None and not spec.submodule_search_locations and spec.origin:
        return [(Path(spec.origin).name, Path(spec.origin).read_bytes())]
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError(f"no package {package}")
    root = Path(next(iter(spec.submodule_search_locations)))
    kept = [p for p in root.rglob("*") if p.suffix in (".py", ".toml", ".json")]
    return [(p.relative_to(root).as_posix(), p.read_bytes()) for p in sorted(kept)]


def _feed(sha: _Hash, value: object) -> None:
    if value is None or isinstance(value, bool):
        _tagged(sha, b"const", repr(value).encode())
    elif isinstance(value, (int, np.integer)):
        _tagged(sha, b"int", str(int(value)).encode())
    elif isinstance(value, (float, np.floating)):
        _tagged(sha, b"float", struct.pack("<d", _plain(float(value))))
    elif isinstance(value, str):
        _tagged(sha, b"str", value.encode())
    elif isinstance(value, (bytes, bytearray, memoryview)):
        _tagged(sha, b"bytes", bytes(value))
    elif isinstance(value, np.ndarray):
        _feed_array(sha, value)
    else:
        _feed_nest(sha, value)


def _feed_nest(sha: _Hash, value: object) -> None:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        _tagged(sha, b"record", type(value).__name__.encode())
        _feed(sha, {f.name: getattr(value, f.name) for f in dataclasses.fields(value)})
    elif isinstance(value, Mapping):
        _feed_mapping(sha, value)
    elif isinstance(value, (list, tuple)):
        _tagged(sha, b"seq", str(len(value)).encode())
        for item in value:
            _feed(sha, item)
    elif isinstance(value, (set, frozenset)):
        _feed(sha, sorted(value))
    else:
        raise TypeError(f"a {type(value).__name__} has no digest")


def _feed_mapping(sha: _Hash, value: Mapping[Any, Any]) -> None:
    if not all(isinstance(key, str) for key in value):
        raise TypeError("a mapping needs text keys to have a digest")
    _tagged(sha, b"map", str(len(value)).encode())
    for key in sorted(value):
        _feed(sha, key)
        _feed(sha, value[key])


def _feed_array(sha: _Hash, value: np.ndarray[Any, Any]) -> None:
    if value.dtype.kind not in "biuf":
        raise TypeError(f"an array of {value.dtype} has no digest")
    plain = value
    if value.dtype.kind == "f":
        plain = np.where(np.isnan(value), np.nan, value + 0.0).astype("<f8")
    little = plain.astype(plain.dtype.newbyteorder("<"))
    _tagged(sha, b"array", f"{little.dtype.str}{little.shape}".encode())
    sha.update(np.ascontiguousarray(little).tobytes())


def _plain(value: float) -> float:
    return float("nan") if value != value else value + 0.0


def _tagged(sha: _Hash, tag: bytes, content: bytes) -> None:
    sha.update(b"%s:%d:" % (tag, len(content)))
    sha.update(content)
