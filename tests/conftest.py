"""What every test needs: one BLAS thread, set before numpy is loaded, and `verified`."""

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

from tests.verification import pytest_addoption, pytest_configure, verified  # noqa: E402

__all__ = ["pytest_addoption", "pytest_configure", "verified"]
