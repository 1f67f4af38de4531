"""Two folders change places in one step, so that a reader sees the old one or the new one."""

import ctypes
import errno
import glob
import os
import shutil
import tempfile
from pathlib import Path

_AT_FDCWD = -100  # linux/fcntl.h
_RENAME_EXCHANGE = 2  # linux/fs.h
_NOT_HERE = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP}


def swap(fresh: Path, place: Path) -> None:
    """Puts the folder `fresh` at `place` and removes the folder that was there.

    On failure `place` is as it was. Errors: OSError. Where the system cannot exchange two folders
    in one step, two renames do it, and the first is undone when the second fails.
    """
    if not os.path.lexists(place):
        os.rename(fresh, place)
    elif _exchange(fresh, place):
        shutil.rmtree(fresh, ignore_errors=True)
    else:
        _two_renames(fresh, place)


def beside(place: Path) -> Path:
    """A new empty folder next to `place`, so on the same disk, that names its process."""
    return Path(tempfile.mkdtemp(prefix=f".{place.name}.new-{os.getpid()}-", dir=place.parent))


def clear_leftovers(place: Path) -> None:
    """Removes what a process that was killed left beside `place`."""
    for path in place.parent.glob(f".{glob.escape(place.name)}.new-*-*"):
        owner = path.name.removeprefix(f".{place.name}.new-").split("-")[0]
        if owner.isdigit() and not _alive(int(owner)):
            shutil.rmtree(path, ignore_errors=True)


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _exchange(one: Path, other: Path) -> bool:
    """Exchanges two paths; False where the system or the file system has no such call."""
    call = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if call is None:
        return False
    names = os.fsencode(one), os.fsencode(other)
    if call(_AT_FDCWD, names[0], _AT_FDCWD, names[1], _RENAME_EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in _NOT_HERE:
        return False
    raise OSError(code, os.strerror(code), str(other))


def _two_renames(fresh: Path, place: Path) -> None:
    aside = beside(place)
    try:
        os.rename(place, aside)  # a rename may replace an empty folder
        try:
            os.rename(fresh, place)
        except BaseException:
            os.rename(aside, place)
            raise
    finally:
        shutil.rmtree(aside, ignore_errors=True)
