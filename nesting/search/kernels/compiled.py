"""How kernels are compiled, and the random numbers they draw."""

from collections.abc import Callable
from typing import Any, TypeVar

import numba
import numpy as np

F = TypeVar("F", bound=Callable[..., Any])


def kernel(function: F) -> F:
    """Compile for exact work: no reordering of floating point sums, no global lock, kept on disk."""
    compiled: F = numba.njit(cache=True, nogil=True, error_model="numpy", _nrt=False)(function)
    return compiled


def guide_kernel(function: F) -> F:
    """Compile for figures that only guide the search: sums may be reordered, so that they run as vectors."""
    compiled: F = numba.njit(cache=True, nogil=True, error_model="numpy", fastmath=True, _nrt=False)(function)
    return compiled


def driver_kernel(function: F) -> F:
    """Compile a kernel that makes arrays of its own, which the others must not."""
    compiled: F = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    return compiled


@kernel
def random(state: np.ndarray) -> float:
    """Return the next number in [0, 1) of the stream held in `state`, one uint64 (splitmix64)."""
    state[0] += np.uint64(0x9E3779B97F4A7C15)
    z = state[0]
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    z = z ^ (z >> np.uint64(31))
    return float(z >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@kernel
def random_normal(state: np.ndarray) -> float:
    """Return a number of roughly normal spread (sum of four uniform ones), mean 0, deviation 1."""
    total = random(state) + random(state) + random(state) + random(state)
    return (total - 2.0) * 1.7320508075688772
