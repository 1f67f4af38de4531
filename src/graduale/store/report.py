"""The report of a fault of our own: kept on this computer, sent nowhere."""

import os
import platform
import tempfile
import traceback
from pathlib import Path

from graduale.base.digest import versions
from graduale.base.settings import settings


def write_report(error: BaseException, command: str) -> Path | None:
    """Writes what is needed to mend the fault; None when no place takes it."""
    text = _text(error, command).encode(errors="replace")
    for folder in (settings().state_dir, Path(tempfile.gettempdir())):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(prefix="graduale-report-", suffix=".txt", dir=folder)
            with os.fdopen(handle, "wb") as out:
                out.write(text)
        except OSError:
            continue
        return Path(name)
    return None


def _text(error: BaseException, command: str) -> str:
    libraries = ", ".join(f"{name} {number}" for name, number in versions())
    trace = "".join(traceback.format_exception(error))
    return f"command: {command}\nsystem: {platform.platform()}\nversions: {libraries}\n\n{trace}"
