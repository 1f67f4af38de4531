"""How many threads the linear algebra may use; the one file that knows threadpoolctl.

Two BLAS pools on two cores fight each other, so heavy work runs inside `blas_threads(1)`.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from threadpoolctl import ThreadpoolController


@contextmanager
def blas_threads(count: int = 1) -> Iterator[None]:
    """Within the block every loaded BLAS and OpenMP pool uses at most `count` threads.

    Errors: ValueError when `count` is below 1.
    """
    if count < 1:
        raise ValueError("at least one thread is needed")
    with ThreadpoolController().limit(limits=count):
        yield


def blas_thread_counts() -> dict[str, int]:
    """Name of each loaded pool's library -> its present number of threads."""
    return {str(pool["prefix"]): int(pool["num_threads"]) for pool in ThreadpoolController().info()}
