"""Progress is a callable: fraction 0..1 and a short key; it may raise Cancelled."""

from collections.abc import Callable

Progress = Callable[[float, str], None]


class Cancelled(Exception):
    """Raised by a progress callable when the maker has cancelled."""


def silent(fraction: float, key: str) -> None:
    """Progress that says nothing."""


def part(progress: Progress, start: float, end: float) -> Progress:
    """The stretch from `start` to `end` of `progress`, as a progress of its own."""

    def inner(fraction: float, key: str) -> None:
        progress(start + (end - start) * fraction, key)

    return inner
