"""Where the program keeps its own things, from the environment; never a property of an instrument.

Folders follow the XDG Base Directory Specification 0.8.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

DEFAULT_CACHE_MB = 500.0


@dataclass(frozen=True)
class Settings:
    """Folders and limits of this computer; nothing here changes a result."""

    cache_dir: Path
    cache_cap_mb: float
    state_dir: Path  # reports of our own faults
    workshop_file: Path  # the maker's workshop.toml, which need not exist
    book_file: Path  # the workshop book, which need not exist


def settings(environment: Mapping[str, str] | None = None) -> Settings:
    """Settings from `environment` (default: the process's own).

    GRADUALE_CACHE, GRADUALE_CACHE_MB, GRADUALE_WORKSHOP and GRADUALE_BOOK outrank the XDG
    folders; a cap that is not a positive number is taken as the default.
    """
    env = os.environ if environment is None else environment
    home = Path(env.get("HOME") or Path.home())
    cache = env.get("GRADUALE_CACHE") or _xdg(env, "XDG_CACHE_HOME", home / ".cache")
    config = _xdg(env, "XDG_CONFIG_HOME", home / ".config")
    workshop = env.get("GRADUALE_WORKSHOP") or config / "workshop.toml"
    book = env.get("GRADUALE_BOOK") or _xdg(env, "XDG_DATA_HOME", home / ".local" / "share") / (
        "workshop.book"
    )
    return Settings(
        cache_dir=Path(cache),
        cache_cap_mb=_positive(env.get("GRADUALE_CACHE_MB"), DEFAULT_CACHE_MB),
        state_dir=_xdg(env, "XDG_STATE_HOME", home / ".local" / "state"),
        workshop_file=Path(workshop),
        book_file=Path(book),
    )


def _xdg(env: Mapping[str, str], name: str, fallback: Path) -> Path:
    given = env.get(name, "")
    base = Path(given) if os.path.isabs(given) else fallback  # relative ones must be ignored
    return base / "graduale"


def _positive(text: str | None, fallback: float) -> float:
    try:
        value = float(text) if text else fallback
    except ValueError:
        return fallback
    return value if 0 < value < float("inf") else fallback
