"""The command as a maker types it: in a process of its own, with its own places and one date."""

import os
import subprocess
import sysconfig
from pathlib import Path

GRADUALE = str(Path(sysconfig.get_path("scripts")) / "graduale")
ROOT = Path(__file__).resolve().parents[2]
NARROW = ROOT / "examples" / "narrow-fiddle" / "instrument.toml"
DATE = "2026-11-25"
Done = subprocess.CompletedProcess[str]


def places(folder: Path) -> dict[str, str]:
    """The environment of a run: cache and reports below `folder`, the date on the sheets fixed."""
    own = {"XDG_STATE_HOME": str(folder / "state"), "GRADUALE_DATE": DATE, "COLUMNS": "100"}
    return {"GRADUALE_CACHE": str(folder / "cache"), **os.environ, **own}


def typed(folder: Path, *words: str) -> Done:
    """Runs `graduale WORDS` in `folder`."""
    return subprocess.run(
        [GRADUALE, *words],
        cwd=folder,
        env=places(folder),
        capture_output=True,
        text=True,
        check=False,
        timeout=580,
    )


def there(folder: Path) -> list[str]:
    """Everything in a folder, hidden names too."""
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*"))
