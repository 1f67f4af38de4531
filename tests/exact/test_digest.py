"""Digests: equal things agree on every run, unlike things do not; SHA-256 as in FIPS 180-4."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from graduale.base import digest as d
from graduale.base.threads import blas_thread_counts, blas_threads

_PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@dataclass(frozen=True)
class _Board:
    length_mm: float
    name: str = "a"


@dataclass(frozen=True)
class _Plank:
    length_mm: float
    name: str = "a"


@given(_PLAIN, _PLAIN)
def test_different_values_differ(a: object, b: object) -> None:
    same = repr(a) == repr(b)
    if same:
        assert d.digest(a) == d.digest(b)
    elif a != b:
        assert d.digest(a) != d.digest(b)


@pytest.mark.parametrize(
    ("a", "b"),
    [
        ((1,), (1.0,)),
        ((True,), (1,)),
        (("ab", "c"), ("a", "bc")),
        (([1], 2), ([1, 2],)),
        ((_Board(1.0),), (_Plank(1.0),)),
        ((_Board(1.0),), (_Board(1.0, "b"),)),
        ((np.zeros((2, 3)),), (np.zeros((3, 2)),)),
        ((np.zeros(2),), (np.zeros(2, dtype=int),)),
        ((None,), ()),
    ],
)
def test_things_that_look_alike_are_told_apart(a: tuple[object], b: tuple[object]) -> None:
    assert d.digest(*a) != d.digest(*b)


def test_things_that_are_the_same_agree() -> None:
    assert d.digest({"a": 1, "b": 2}) == d.digest({"b": 2, "a": 1})
    assert d.digest(-0.0) == d.digest(0.0)
    assert d.digest([1, 2]) == d.digest((1, 2))
    grid = np.arange(12.0).reshape(3, 4)
    assert d.digest(grid[:, ::2]) == d.digest(grid[:, ::2].copy())
    assert d.digest(grid.astype(">f8")) == d.digest(grid)
    assert d.digest(np.array([-0.0, np.nan])) == d.digest(np.array([0.0, -np.nan]))
    assert d.digest({"x", "y", "z"}) == d.digest({"z", "y", "x"})


def test_another_process_finds_the_same() -> None:
    code = "from graduale.base.digest import digest; print(digest({'b', 'a'}, 1.5, {'k': [None]}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == d.digest({"a", "b"}, 1.5, {"k": [None]})
    assert len(d.short(done.stdout)) == 12


@pytest.mark.parametrize("value", [object(), {1: 2}, np.array([object()]), Path("x")])
def test_what_has_no_digest_is_refused(value: object) -> None:
    with pytest.raises(TypeError):
        d.digest(value)


def test_code_digest_follows_the_source(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    room = tmp_path / "a_room_of_tests"
    (room / "data").mkdir(parents=True)
    (room / "__init__.py").write_text("raise RuntimeError('must not be imported')")
    monkeypatch.syspath_prepend(tmp_path)
    seen = []
    for name, text in [("x.py", "a = 1"), ("x.py", "a = 2"), ("data/t.toml", "b = 1")]:
        (room / name).write_text(text)
        d.code_digest.cache_clear()
        seen.append(d.code_digest("a_room_of_tests"))
    (room / "notes.txt").write_text("does not count")
    d.code_digest.cache_clear()
    assert d.code_digest("a_room_of_tests") == seen[-1]
    assert len(set(seen)) == 3
    with pytest.raises(ModuleNotFoundError):
        d.code_digest("no_such_room_here")


def test_versions_name_the_libraries_that_count() -> None:
    found = dict(d.versions())
    assert found["numpy"] == np.__version__
    assert {"python", "scipy"} <= set(found)


def test_blas_threads_are_limited_within_the_block() -> None:
    before = blas_thread_counts()
    assert before
    with blas_threads(1):
        assert set(blas_thread_counts().values()) == {1}
    assert blas_thread_counts() == before
    with pytest.raises(ValueError, match="one thread"), blas_threads(0):
        pass
