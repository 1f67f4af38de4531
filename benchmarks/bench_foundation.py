"""What the foundation costs: the start of the command, a digest, the cache, an output folder."""

import itertools
import subprocess
import sysconfig
from pathlib import Path

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture

from graduale.base.digest import digest
from graduale.store.cache import Cache, Entry
from graduale.store.out import write_folder

_MAP = np.random.default_rng(1).normal(size=(180, 110))  # a plate on a 2 mm grid


def bench_help(benchmark: BenchmarkFixture) -> None:
    command = [str(Path(sysconfig.get_path("scripts")) / "graduale"), "--help"]
    benchmark(lambda: subprocess.run(command, capture_output=True, check=True))


def bench_digest_of_ten_maps(benchmark: BenchmarkFixture) -> None:
    benchmark(digest, [_MAP] * 10)


def bench_cache_there_and_back(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    cache, number = Cache(tmp_path, 100_000_000), itertools.count()

    def work() -> None:
        key = digest(next(number))
        cache.put(key, Entry({"mass_g": 62.5}, {"t": _MAP}))
        assert cache.get(key) is not None

    benchmark(work)


def bench_output_folder_of_twenty_files(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    files = {f"sheet-{i}.pdf": b"x" * 50_000 for i in range(20)}
    benchmark(write_folder, tmp_path / "out", files)
