"""Makes `bodies` importable beside the validation tests, which are no package."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(autouse=True, scope="session")
def one_blas_thread() -> Iterator[None]:
    """Small systems are factorised several times faster by one thread than by two."""
    with threadpool_limits(1, user_api="blas"):
        yield
