"""What the disk says, as one clear sentence."""

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from graduale.base.findings import Refused, refuse
from graduale.words.catalogue import say

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_MOUNTED = {errno.EBUSY, errno.EXDEV}


@contextmanager
def refusing(place: Path) -> Iterator[None]:
    """Turns any OSError of the block into a refusal about `place`."""
    try:
        yield
    except OSError as error:
        raise _refusal(error, place) from error


def _refusal(error: OSError, place: Path) -> Refused:
    cause = os.strerror(error.errno).lower() if error.errno else str(error)
    if error.errno in _FULL:
        return refuse("disk-full", str(place), say("store.full", cause=cause))
    if error.errno in _MOUNTED:
        return refuse("folder-mounted", str(place), say("store.mounted"))
    return refuse("folder-unwritable", str(place), say("store.unwritable", cause=cause))
