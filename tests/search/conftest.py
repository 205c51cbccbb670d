"""Shapes packed once for all kernel tests."""

import pytest
from crowds import packed, pool

from nesting.search.kernels.arrays import Shapes


@pytest.fixture(scope="session")
def shapes() -> Shapes:
    """Random shapes of all kinds, free to turn."""
    return packed(pool())
