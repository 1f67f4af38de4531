"""Where the program keeps its own things, from the environment; never a property of an instrument.

Folders follow the XDG Base Directory Specification 0.8.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

DEFAULT_CACHE_MB = 500.0
_MOST_PROCESSES = 2


@dataclass(frozen=True)
class Settings:
    """Folders and limits of this computer, and where the workshop's settings stand."""

    cache_dir: Path
    cache_cap_mb: float
    state_dir: Path  # reports of our own faults
    workshop_file: Path | None  # the maker's workshop.toml for all instruments, when named
    book_file: Path  # the workshop book, which need not exist
    processes: int  # that may work at once, ourselves among them


def settings(environment: Mapping[str, str] | None = None) -> Settings:
    """Settings from `environment` (default: the process's own).

    GRADUALE_CACHE and GRADUALE_BOOK outrank the XDG folders; GRADUALE_CACHE_MB is the cache's cap
    (the default where it is not a positive number); GRADUALE_WORKSHOP names a workshop.toml.
    GRADUALE_PROCESSES: 1 for no helper; not given, two where the computer has two cores.
    """
    env = os.environ if environment is None else environment
    home = Path(env.get("HOME") or Path.home())
    cache = env.get("GRADUALE_CACHE") or _xdg(env, "XDG_CACHE_HOME", home / ".cache")
    workshop = env.get("GRADUALE_WORKSHOP")
    book = env.get("GRADUALE_BOOK") or _xdg(env, "XDG_DATA_HOME", home / ".local" / "share") / (
        "workshop.book"
    )
    return Settings(
        cache_dir=Path(cache),
        cache_cap_mb=_positive(env.get("GRADUALE_CACHE_MB"), DEFAULT_CACHE_MB),
        state_dir=_xdg(env, "XDG_STATE_HOME", home / ".local" / "state"),
        workshop_file=Path(workshop) if workshop else None,
        book_file=Path(book),
        processes=int(_positive(env.get("GRADUALE_PROCESSES"), min(_MOST_PROCESSES, _cores()))),
    )


def _xdg(env: Mapping[str, str], name: str, fallback: Path) -> Path:
    given = env.get(name, "")
    base = Path(given) if os.path.isabs(given) else fallback  # relative ones must be ignored
    return base / "graduale"


def _cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(len(os.sched_getaffinity(0)), 1)
    return os.cpu_count() or 1


def _positive(text: str | None, fallback: float) -> float:
    try:
        value = float(text) if text else fallback
    except ValueError:
        return fallback
    return value if 0 < value < float("inf") else fallback
