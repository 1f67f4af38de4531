"""Decisions that several tests read: each made once for the whole session, whoever asks first.

With several workers a lock beside their common temporary folder lets one of them work while the
others wait; the cache of the reference band is common too. The folders are for reading only.
"""

import fcntl
import json
import os
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.flow.typed import NARROW, typed


@dataclass(frozen=True)
class Run:
    """One finished run of `decide`: its folder and what it said."""

    folder: Path
    exit_code: int
    stdout: str
    stderr: str

    @property
    def document(self) -> dict[str, Any]:
        """decision.json."""
        found: dict[str, Any] = json.loads((self.folder / "decision.json").read_bytes())
        return found


DecideOnce = Callable[[str, Path], Run]


def pytest_configure(config: pytest.Config) -> None:
    """Markers of this shelf."""
    told = "further_decision: makes a decision of its own beside the first"
    config.addinivalue_line("markers", told)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """With several workers: the first one begins with what reads the first decision, the second
    with the others, so that neither waits for the other's lock.

    Worker k is first sent the k-th run of a quarter of its share of all tests (pytest-xdist, load
    scheduling).
    """
    workers = int(getattr(config, "workerinput", {}).get("workercount", 1))
    if workers > 1:
        items[:] = _dealt(items, max(len(items) // workers // 4, 2))


def _dealt(items: list[pytest.Item], run: int) -> list[pytest.Item]:
    """Readers of the first decision, then at `run` those that make further ones, then the rest."""
    further = [i for i in items if _asks(i, "decide_once") and not _asks(i, "decided")]
    further += [i for i in items if i.get_closest_marker("further_decision")]
    first = [i for i in items if _asks(i, "decided") and i not in further]
    rest = [i for i in items if i not in further and i not in first]
    filling = max(run - len(first), 0)
    return [*first[:run], *rest[:filling], *further, *first[run:], *rest[filling:]]


def _asks(item: pytest.Item, fixture: str) -> bool:
    return fixture in getattr(item, "fixturenames", ())


@pytest.fixture(scope="session")
def shared_root(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """A temporary folder that all workers of this session share."""
    base = tmp_path_factory.getbasetemp()
    root = (base if worker_id == "master" else base.parent) / "decided"
    root.mkdir(exist_ok=True)
    return root


@pytest.fixture(scope="session", autouse=True)
def shared_cache(shared_root: Path) -> Iterator[Path]:
    """GRADUALE_CACHE for the whole session, so that the reference band is made once."""
    before = os.environ.get("GRADUALE_CACHE")
    os.environ["GRADUALE_CACHE"] = str(shared_root / "cache")
    yield shared_root / "cache"
    if before is None:
        del os.environ["GRADUALE_CACHE"]
    else:
        os.environ["GRADUALE_CACHE"] = before


@pytest.fixture(scope="session")
def decide_once(shared_root: Path, shared_cache: Path) -> DecideOnce:
    """name, instrument file -> the run of `decide`, made when nobody has made it yet."""

    def decided(name: str, instrument: Path) -> Run:
        folder, said = shared_root / name, shared_root / f"{name}.said.json"
        with (shared_root / f"{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not said.is_file():
                done = typed(shared_root, "decide", str(instrument), "--out", str(folder))
                said.write_text(json.dumps(_kept(done)), encoding="utf-8")
        return Run(folder, **json.loads(said.read_text(encoding="utf-8")))

    return decided


def _kept(done: "subprocess.CompletedProcess[str]") -> dict[str, Any]:
    return {"exit_code": done.returncode, "stdout": done.stdout, "stderr": done.stderr}


@pytest.fixture(scope="session")
def decided(decide_once: DecideOnce) -> Run:
    """The narrow fiddle of the examples, decided by the real command (a minute and a half)."""
    return decide_once("narrow-fiddle", NARROW)


@pytest.fixture(scope="session")
def decided_folder(decided: Run) -> Path:
    """Its output folder; copy it before changing anything."""
    assert decided.exit_code == 0, decided.stderr
    return decided.folder
