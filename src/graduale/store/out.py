"""Output folders, written beside and swapped in whole: at any moment the old one or the new one.

A folder is ours when it holds our marker, which lists what we wrote. Anything else that lies in a
folder of ours (a maker's note) is carried over; a folder that is not ours is never touched.
"""

import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path, PurePosixPath

from graduale.base.findings import refuse
from graduale.store.faults import refusing
from graduale.store.swap import beside, clear_leftovers, swap
from graduale.words.catalogue import say

MARKER = ".graduale-output.json"
_FORMAT = 1

Content = bytes | str


def check_folder(target: Path) -> None:
    """Refuses, before any work is done, a folder that `write_folder` could not write.

    Errors: Refused (foreign folder, a file in its place, unwritable place).
    """
    _refuse_foreign(target)
    ancestor = Path(os.path.realpath(target)).parent
    while not ancestor.exists() and ancestor != ancestor.parent:
        ancestor = ancestor.parent
    with refusing(target):
        os.rmdir(tempfile.mkdtemp(prefix=".graduale-try-", dir=ancestor))


def write_folder(target: Path, files: Mapping[str, Content], *, keep: bool = False) -> None:
    """Makes `target` hold exactly `files` (relative POSIX names), our marker and foreign additions.

    With `keep` what we wrote there before stays too, unless it is written anew. On any failure the
    folder is as it was. Errors: Refused as in `check_folder`, disk full; ValueError on a bad name.
    """
    names = sorted(files)
    _check_names(names)
    check_folder(target)
    place = Path(os.path.realpath(target))
    with refusing(target):
        place.parent.mkdir(parents=True, exist_ok=True)
        clear_leftovers(place)
        fresh = beside(place)
        try:
            _fill(fresh, place, files, names, keep)
            swap(fresh, place)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)


def write_file(target: Path, content: Content) -> None:
    """Writes one new file, whole or not at all.

    Errors: Refused when it exists, when the place cannot be written to, or when the disk is full.
    """
    if os.path.lexists(target):
        raise refuse("file-exists", str(target), say("store.foreign_here"))
    with refusing(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.new-", dir=target.parent)
        try:
            with os.fdopen(handle, "wb") as out:
                _put(out.fileno(), _bytes(content))
            os.chmod(name, 0o666 & ~_umask())
            os.rename(name, target)
        finally:
            Path(name).unlink(missing_ok=True)


def written(target: Path) -> tuple[str, ...]:
    """Names of the files that we wrote into `target`; empty when it is not a folder of ours."""
    try:
        marker = json.loads((target / MARKER).read_text(encoding="utf-8"))
        names = marker["files"] if marker["format"] == _FORMAT else []
    except (OSError, ValueError, KeyError, TypeError):
        return ()
    return tuple(str(name) for name in names)


def _refuse_foreign(target: Path) -> None:
    with refusing(target):
        if not os.path.lexists(target):
            return
        if not target.is_dir():
            raise refuse("not-a-folder", str(target), say("store.foreign_file"))
        ours = (target / MARKER).is_file() or not any(target.iterdir())
    if not ours:
        raise refuse("folder-foreign", str(target), say("store.foreign"))


def _check_names(names: Iterable[str]) -> None:
    for name in names:
        path = PurePosixPath(name)
        inside = name and not path.is_absolute() and ".." not in path.parts
        if not inside or path.as_posix() != name or name == MARKER:
            raise ValueError(say("store.bad_name", name=name))


def _fill(
    fresh: Path, old: Path, files: Mapping[str, Content], names: list[str], keep: bool
) -> None:
    for name in names:
        path = fresh / name
        path.parent.mkdir(parents=True, exist_ok=True)
        _write(path, _bytes(files[name]))
    before = set(written(old))
    _carry_over(old, fresh, leave=set() if keep else before)
    ours = sorted({*names, *(before if keep else ())})
    _write(fresh / MARKER, _marker(ours))
    os.chmod(fresh, 0o777 & ~_umask())


def _marker(names: list[str]) -> bytes:
    content = {"made_by": "graduale", "format": _FORMAT, "files": names}
    return (json.dumps(content, indent=1) + "\n").encode()


def _carry_over(old: Path, fresh: Path, leave: set[str]) -> None:
    if not old.is_dir():
        return
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old).as_posix()
        goal = fresh / name
        if name == MARKER or name in leave or os.path.lexists(goal):
            continue
        if path.is_symlink() or path.is_file():
            goal.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, goal, follow_symlinks=False)


def _write(path: Path, content: bytes) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    try:
        _put(handle, content)
    finally:
        os.close(handle)


def _put(handle: int, content: bytes) -> None:
    view = memoryview(content)
    while view:
        view = view[os.write(handle, view) :]
    os.fsync(handle)


def _bytes(content: Content) -> bytes:
    return content.encode() if isinstance(content, str) else content


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
