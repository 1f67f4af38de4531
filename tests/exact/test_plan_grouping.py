"""Shared settings: as few as can be (against a slow search), and only ever leaving more."""

import functools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from graduale.plan.grouping import group_keys, shared_settings


def fewest(intervals: tuple[tuple[int, int], ...]) -> int:
    """The least number of whole numbers that meet all intervals, by trying all ways."""
    candidates = sorted({p for a, b in intervals for p in range(a, b + 1)})

    @functools.cache
    def best(left: frozenset[tuple[int, int]]) -> int:
        if not left:
            return 0
        one = min(left)
        tries = [p for p in candidates if one[0] <= p <= one[1]]
        return 1 + min(best(frozenset(i for i in left if not i[0] <= p <= i[1])) for p in tries)

    return best(frozenset(intervals))


needs = st.lists(st.floats(3.0, 6.0), min_size=1, max_size=9)


@given(needs=needs, spare=st.floats(0.0, 0.8), step=st.sampled_from([0.1, 0.25, 0.05]))
def test_never_less_never_much_more(needs: list[float], spare: float, step: float) -> None:
    need = np.array(needs)
    got = shared_settings(need, need + spare, step)
    assert np.all(got >= need - 1e-8)
    assert np.all(got <= np.maximum(need + spare, need + step) + 1e-8)
    assert got / step == pytest.approx(np.round(got / step), abs=1e-6)


@given(needs=needs, spare=st.floats(0.0, 0.8))
def test_as_few_as_a_slow_search_finds(needs: list[float], spare: float) -> None:
    step = 0.1
    need = np.array(needs)
    low = np.ceil(need / step - 1e-9).astype(int)
    high = np.maximum(low, np.floor((need + spare) / step + 1e-9).astype(int))
    intervals = tuple(sorted({(int(a), int(b)) for a, b in zip(low, high, strict=True)}))
    got = shared_settings(need, need + spare, step)
    assert len(np.unique(np.round(got / step))) == fewest(intervals)


def test_each_shared_setting_is_as_low_as_its_holes_let_it() -> None:
    got = shared_settings(np.array([4.01, 4.11, 4.6]), np.array([4.31, 4.41, 4.9]), 0.1)
    assert got == pytest.approx([4.2, 4.2, 4.6])


def test_step_must_be_positive() -> None:
    with pytest.raises(ValueError):
        shared_settings(np.array([4.0]), np.array([4.3]), 0.0)


def test_letters_in_the_order_of_drilling() -> None:
    """The greatest gap and the smallest depth first, so that the first holes leave the most."""
    rest = [("rest", "level", 4.2), ("rest", "level", 5.0), ("rest", "tilted", 6.0)]
    assert group_keys(rest) == ("B", "A", "C")
    assert group_keys([("collar", "level", 5.0), ("collar", "level", 2.0)]) == ("B", "A")
    many = group_keys([("rest", "level", float(i)) for i in range(28)])
    assert many[-1] == "A"
    assert many[0] == "AB"
