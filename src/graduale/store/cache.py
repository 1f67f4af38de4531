"""Results kept by digest in the maker's cache folder: capped, deletable at any time, never trusted.

An entry that is missing, torn or of another format is a miss; a disk that will not take an entry
costs time and nothing else. The key must hold all that the entry depends on: inputs, code and
versions.
"""

import contextlib
import json
import os
import re
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from graduale.base.settings import settings

_DOCUMENT = "__document__"
_SUFFIX = ".npz"
_KEY = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, eq=False)
class Entry:
    """Plain JSON values and named arrays of numbers, read-only."""

    document: Any = None
    arrays: Mapping[str, np.ndarray[Any, Any]] = field(default_factory=dict)


@dataclass(frozen=True)
class Cache:
    """Entries in `folder`, the longest unused dropped first when they pass `cap_bytes` in all."""

    folder: Path
    cap_bytes: int

    def get(self, key: str) -> Entry | None:
        """The entry of `key` (64 hex digits), or None."""
        path = self._path(key)
        try:
            entry = _read(path, key)
            os.utime(path)
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, zlib.error):
            _drop(path)
            return None
        return entry

    def put(self, key: str, entry: Entry) -> bool:
        """Keeps `entry`; False when it could not be kept. Errors: ValueError, TypeError on data
        that is not plain (objects in arrays, values that JSON has not)."""
        path = self._path(key)
        arrays = {name: np.asarray(array) for name, array in entry.arrays.items()}
        if any(array.dtype.hasobject for array in arrays.values()) or _DOCUMENT in arrays:
            raise ValueError("only arrays of numbers are kept, none named like the document")
        content = json.dumps([key, entry.document], allow_nan=False).encode()
        arrays[_DOCUMENT] = np.frombuffer(content, dtype=np.uint8)
        try:
            self._write(path, arrays)
            self._drop_unused(spare=path)
        except OSError:
            return False
        return path.exists()

    def remember(self, key: str, make: Callable[[], Entry]) -> Entry:
        """The kept entry of `key`; made and kept when there is none."""
        found = self.get(key)
        if found is not None:
            return found
        made = make()
        self.put(key, made)
        return made

    def clear(self) -> None:
        """Drops every entry; other files in the folder stay."""
        for path in self._entries():
            _drop(path)

    def size_bytes(self) -> int:
        """Bytes of all entries."""
        return sum(path.stat().st_size for path in self._entries())

    def _path(self, key: str) -> Path:
        if not _KEY.fullmatch(key):
            raise ValueError("a cache key is a digest of 64 hex digits")
        return self.folder / (key + _SUFFIX)

    def _entries(self) -> list[Path]:
        if not self.folder.is_dir():
            return []
        return [p for p in self.folder.iterdir() if p.suffix == _SUFFIX and _KEY.fullmatch(p.stem)]

    def _write(self, path: Path, arrays: Mapping[str, np.ndarray[Any, Any]]) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".new-", dir=self.folder)
        try:
            with os.fdopen(handle, "wb") as out:
                np.savez(out, allow_pickle=False, **arrays)
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise

    def _drop_unused(self, spare: Path) -> None:
        ages = sorted((p.stat().st_mtime_ns, p.stat().st_size, p) for p in self._entries())
        total = sum(size for _, size, _ in ages)
        for _, size, path in [a for a in ages if a[2] != spare] + [
            a for a in ages if a[2] == spare
        ]:
            if total <= self.cap_bytes:
                return
            _drop(path)
            total -= size


def user_cache() -> Cache:
    """The cache of this maker on this computer (GRADUALE_CACHE, else the XDG cache folder)."""
    own = settings()
    return Cache(own.cache_dir, int(own.cache_cap_mb * 1e6))


def _drop(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def _read(path: Path, key: str) -> Entry:
    with np.load(path, allow_pickle=False) as stored:
        arrays = {name: np.array(stored[name]) for name in stored.files}
    whose, document = json.loads(arrays.pop(_DOCUMENT).tobytes())
    if whose != key:
        raise ValueError("an entry under another's name")
    for array in arrays.values():
        array.setflags(write=False)
    return Entry(document, arrays)
