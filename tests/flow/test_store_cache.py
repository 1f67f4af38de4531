"""The cache: what was put in comes back bit for bit; what is torn, foreign or gone is a miss."""

import os
from pathlib import Path

import numpy as np
import pytest

from graduale.base.digest import digest
from graduale.base.settings import settings
from graduale.store.cache import Cache, Entry, user_cache

KEY = digest("one")


@pytest.fixture
def cache(tmp_path: Path) -> Cache:
    return Cache(tmp_path / "cache", 10_000_000)


def _entry(size: int = 5) -> Entry:
    return Entry({"mass_g": 62.5, "names": ["twist", None]}, {"t": np.linspace(2.0, 3.0, size)})


def test_what_was_put_in_comes_back_read_only(cache: Cache) -> None:
    assert cache.get(KEY) is None
    assert cache.put(KEY, _entry())
    found = cache.get(KEY)
    assert found is not None
    assert found.document == _entry().document
    assert np.array_equal(found.arrays["t"], _entry().arrays["t"])
    with pytest.raises(ValueError, match="read-only"):
        found.arrays["t"][0] = 1.0


def test_an_entry_is_made_once(cache: Cache) -> None:
    made = []

    def make() -> Entry:
        made.append(1)
        return _entry()

    first, second = cache.remember(KEY, make), cache.remember(KEY, make)
    assert len(made) == 1
    assert first.document == second.document


@pytest.mark.parametrize("where", [0.0, 0.3, 0.6, 0.95])
def test_one_wrong_byte_is_a_miss_and_the_entry_goes(cache: Cache, where: float) -> None:
    cache.put(KEY, _entry(2000))
    path = next(cache.folder.iterdir())
    raw = bytearray(path.read_bytes())
    raw[int(where * (len(raw) - 1))] ^= 0xFF
    path.write_bytes(raw)
    found = cache.get(KEY)
    if found is not None:  # the byte lay in a date or a length that does not count
        assert np.array_equal(found.arrays["t"], _entry(2000).arrays["t"])
    else:
        assert not path.exists()


@pytest.mark.parametrize("keep", [0, 1, 40, 400])
def test_a_cut_entry_is_a_miss(cache: Cache, keep: int) -> None:
    cache.put(KEY, _entry(2000))
    path = next(cache.folder.iterdir())
    path.write_bytes(path.read_bytes()[:keep])
    assert cache.get(KEY) is None
    assert cache.put(KEY, _entry())
    assert cache.get(KEY) is not None


def test_an_entry_under_anothers_name_is_a_miss(cache: Cache) -> None:
    cache.put(KEY, _entry())
    path = next(cache.folder.iterdir())
    other = digest("two")
    path.rename(path.with_name(f"{other}.npz"))
    assert cache.get(other) is None


def test_the_longest_unused_go_first(tmp_path: Path) -> None:
    cache = Cache(tmp_path, 100_000)
    keys = [digest(i) for i in range(5)]
    for age, key in enumerate(keys[:4]):
        cache.put(key, _entry(3000))  # 24 kB each
        os.utime(tmp_path / f"{key}.npz", (age, age))
    assert cache.get(keys[0]) is not None  # used just now
    cache.put(keys[4], _entry(3000))
    kept = [cache.get(key) is not None for key in keys]
    assert kept == [True, False, True, True, True]
    assert cache.size_bytes() <= 100_000


def test_an_entry_larger_than_the_cap_is_not_kept(tmp_path: Path) -> None:
    cache = Cache(tmp_path, 1000)
    assert not cache.put(KEY, _entry(3000))
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_takes_nothing_costs_only_time(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    cache = Cache(tmp_path / "file" / "cache", 1000)
    assert cache.get(KEY) is None
    assert not cache.put(KEY, _entry())
    assert cache.remember(KEY, _entry).document == _entry().document


def test_clearing_leaves_what_is_not_ours(cache: Cache) -> None:
    cache.put(KEY, _entry())
    (cache.folder / "note.txt").write_text("mine")
    cache.clear()
    assert [p.name for p in cache.folder.iterdir()] == ["note.txt"]
    assert cache.size_bytes() == 0


def test_what_is_not_plain_is_a_fault_of_ours(cache: Cache) -> None:
    for wrong in (
        Entry({"a": float("nan")}),
        Entry(None, {"o": np.array([object()])}),
        Entry(None, {"__document__": np.zeros(1)}),
    ):
        with pytest.raises(ValueError):
            cache.put(KEY, wrong)
    with pytest.raises(ValueError, match="64 hex digits"):
        cache.get("../../etc/passwd")
    assert not cache.folder.exists() or list(cache.folder.iterdir()) == []


def test_the_makers_cache_lies_where_the_environment_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GRADUALE_CACHE", str(tmp_path / "mine"))
    monkeypatch.setenv("GRADUALE_CACHE_MB", "2")
    assert user_cache() == Cache(tmp_path / "mine", 2_000_000)


def test_settings_follow_the_xdg_specification() -> None:
    """XDG Base Directory Specification 0.8: defaults, and relative paths are to be ignored."""
    plain = settings({"HOME": "/h"})
    assert plain.cache_dir == Path("/h/.cache/graduale")
    assert plain.state_dir == Path("/h/.local/state/graduale")
    assert plain.workshop_file is None
    assert settings({"HOME": "/h", "GRADUALE_WORKSHOP": "/w/w.toml"}).workshop_file == Path(
        "/w/w.toml"
    )
    given = settings({"HOME": "/h", "XDG_CACHE_HOME": "/c", "XDG_STATE_HOME": "relative"})
    assert given.cache_dir == Path("/c/graduale")
    assert given.state_dir == plain.state_dir
    for text in ("", "much", "-1", "nan", "inf"):
        assert settings({"HOME": "/h", "GRADUALE_CACHE_MB": text}).cache_cap_mb == 500
