"""Settings shared by many holes, so that the drill is set as rarely as can be; only ever leaving
more.

Everything is counted in whole steps of the setting. With a rest a greater gap leaves more, with a
collar a smaller depth leaves more; depths are grouped as negative gaps.
"""

from collections.abc import Sequence

import numpy as np

from graduale.base.arrays import Floats, Ints


def shared_settings(need_mm: Floats, most_mm: Floats, step_mm: float) -> Floats:
    """Grouped settings (n,) with need <= setting, in whole steps, from as few values as possible.

    need (n,) is the least setting that leaves enough, most (n,) the greatest that leaves no more
    than is wanted above it. A hole with no whole step between them takes the next step above need,
    so that rounding alone may pass `most`. Errors: ValueError when step is not positive.
    """
    if not step_mm > 0:
        raise ValueError("the step of the setting must be positive")
    low = np.ceil(need_mm / step_mm - 1e-9).astype(np.int64)
    high = np.maximum(low, np.floor(most_mm / step_mm + 1e-9).astype(np.int64))
    return np.asarray(_cover(low, high) * step_mm)


def _cover(low: Ints, high: Ints) -> Ints:
    """For whole-number intervals [low, high] (n,): one number in each, as few different as
    possible.

    The earliest end that is not yet covered must be covered by something no later, so taking that
    end is best. Each number is then lowered as far as its own holes let it.
    """
    points: list[int] = []
    for i in np.argsort(high, kind="stable"):
        if not points or points[-1] < low[i]:
            points.append(int(high[i]))
    place = np.searchsorted(points, low)  # the first point at or above each low end
    return np.array([_lowest(low, place, int(p)) for p in place], dtype=np.int64)


def _lowest(low: Ints, place: Ints, which: int) -> int:
    return int(np.max(low[place == which]))


def group_keys(settings: Sequence[tuple[str, str, float]]) -> tuple[str, ...]:
    """Letters A, B, ... Z, AA for (method, hold, setting) in the order in which the drill is set.

    Rest before collar, level before tilted, the greatest gap and the smallest depth first: so the
    first holes leave the most.
    """
    wanted = sorted(set(settings), key=_drilling_order)
    names = {key: _letters(i) for i, key in enumerate(wanted)}
    return tuple(names[s] for s in settings)


def _drilling_order(key: tuple[str, str, float]) -> tuple[bool, bool, float]:
    method, hold, setting = key
    return method == "collar", hold == "tilted", setting if method == "collar" else -setting


def _letters(index: int) -> str:
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(ord("A") + rest) + text
    return text
