"""Where the time of `decide` goes: CPU seconds by phase, memory, load, with and without its cache.

    python -m benchmarks.bench_decide examples/narrow-fiddle/instrument.toml --store

runs `decide` twice in one process without helpers (phases are CPU seconds of this process: they do
not depend on what else the machine does), then twice as the command with its helper (wall seconds
and CPU seconds of all processes, the greatest sum of resident memory). `--store` writes
`bench_decide.json` beside this script.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

_COMMAND = (sys.executable, "-c", "from graduale.cli.main import entry; entry()")
RESULT = Path(__file__).with_suffix(".json")
# phase: functions (module, name) whose time it is; time inside a nested phase counts there only
PHASES = {
    "bodies": [("graduale.jobs.apart", "plate_bodies")],
    "meshes": [("graduale.box.meshing", "_meshed")],
    "boxes": [
        ("graduale.jobs.apart", "build_box"),
        ("graduale.jobs.deciding", "build_box"),
        ("graduale.jobs.reference", "build_box"),
    ],
    "reference": [("graduale.jobs.reference", "_made")],
    "doubt": [("graduale.jobs.deciding", "doubt_of")],
    "factor and solve": [
        ("graduale.box.readouts", "factor_held"),
        ("graduale.box.working", "factor_held"),
    ],
    "choice (rest)": [("graduale.jobs.deciding", "choose")],
    "settling (rest)": [("graduale.jobs.deciding", "_settled")],
    "floors": [("graduale.jobs.deciding", "_joint"), ("graduale.jobs.deciding", "lone_floor")],
    "buckling": [
        ("graduale.jobs.deciding", "buckling_factor"),
        ("graduale.jobs.reference", "buckling_factor"),
    ],
    "leave": [("graduale.jobs.apart", "leave_before_holes")],
    "tap tones": [
        ("graduale.jobs.apart", "tap_tones"),
        ("graduale.jobs.reference", "tones"),
    ],
    "guide holes": [("graduale.jobs.decide", "plans_of")],
    "sheets": [("graduale.jobs.decide", "paper_files")],
    "pictures": [("graduale.jobs.decide", "pictures_of")],
    "document": [("graduale.jobs.decide", "document"), ("graduale.jobs.decide", "as_bytes")],
}


class Clock:
    """CPU seconds of nested phases; each second counts once, in the innermost phase."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = defaultdict(float)
        self._open = ["rest"]
        self._since = time.process_time()

    def _switch(self) -> None:
        now = time.process_time()
        self.seconds[self._open[-1]] += now - self._since
        self._since = now

    def timed(self, phase: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """The function, its time counted as `phase`."""

        def inner(*args: Any, **kwargs: Any) -> Any:
            self._switch()
            self._open.append(phase)
            try:
                return function(*args, **kwargs)
            finally:
                self._switch()
                self._open.pop()

        return inner

    def close(self) -> dict[str, float]:
        """Seconds by phase, the greatest first."""
        self._switch()
        ordered = sorted(self.seconds.items(), key=lambda kv: -kv[1])
        return {name: round(s, 2) for name, s in ordered}


def phases(instrument: Path, out: Path) -> dict[str, float]:
    """One decision in this process, by phase."""
    from graduale.jobs import decide

    clock, kept = Clock(), []
    for phase, places in PHASES.items():
        for module, name in places:
            room = import_module(module)
            kept.append((room, name, getattr(room, name)))
            setattr(room, name, clock.timed(phase, getattr(room, name)))
    try:
        decide.run(instrument, out, lambda fraction, key: None)
    finally:
        for room, name, function in kept:
            setattr(room, name, function)
    return clock.close()


def command(instrument: Path, out: Path, cache: Path) -> dict[str, float]:
    """One decision as the command: wall and CPU seconds, memory of all its processes in MB."""
    environment = os.environ | {"GRADUALE_CACHE": str(cache)}
    environment.pop("GRADUALE_PROCESSES", None)
    start, before = time.monotonic(), os.times()
    run = subprocess.Popen(
        [*_COMMAND, "decide", str(instrument), "--out", str(out), "--quiet"],
        env=environment,
        stdout=subprocess.DEVNULL,
    )
    most = [0.0]
    watch = threading.Thread(target=_watch, args=(run, most), daemon=True)
    watch.start()
    run.wait()
    after = os.times()
    cpu = after.children_user + after.children_system
    cpu -= before.children_user + before.children_system
    wall = time.monotonic() - start
    return {"wall_s": round(wall, 1), "cpu_s": round(cpu, 1), "memory_mb": round(most[0])}


def _watch(run: "subprocess.Popen[bytes]", most: list[float]) -> None:
    while run.poll() is None:
        total = _memory(run.pid) + sum(_memory(int(c)) for c in _children(run.pid))
        most[0] = max(most[0], total)
        time.sleep(0.1)


def _children(pid: int) -> list[str]:
    try:
        return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return []


def _memory(pid: int) -> float:
    """Resident MB of a process, 0 when it is gone."""
    try:
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * 4096 / 1e6
    except (OSError, IndexError):
        return 0.0


def main() -> None:
    """Runs, prints, and stores on request."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("instrument", type=Path)
    reader.add_argument("--store", action="store_true")
    asked = reader.parse_args()
    found: dict[str, Any] = {
        "instrument": asked.instrument.parent.name,
        "python": platform.python_version(),
        "cores": os.cpu_count(),
        "load_before": [round(v, 1) for v in os.getloadavg()],
    }
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        os.environ |= {"GRADUALE_CACHE": str(root / "one"), "GRADUALE_PROCESSES": "1"}
        for name in ("empty", "kept"):
            found[f"phases_cpu_s_cache_{name}"] = phases(asked.instrument, root / "out")
        for name in ("empty", "kept"):
            found[f"command_cache_{name}"] = command(asked.instrument, root / "out", root / "two")
    found["load_after"] = [round(v, 1) for v in os.getloadavg()]
    text = json.dumps(found, indent=1)
    print(text)
    if asked.store:
        RESULT.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
