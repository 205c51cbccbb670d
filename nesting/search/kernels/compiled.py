"""How kernels are compiled, and the random numbers they draw."""

import contextlib
import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numba
import numpy as np

F = TypeVar("F", bound=Callable[..., Any])

_njit: Any = numba.njit
# Kernels take their arrays in named tuples.  With reference counting on, each look at an array counts it up and down,
# which cost three quarters of the time; they hold arrays that outlive the call, so it is off, and they may make none.
_OPTIONS: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}


def kernel(function: F) -> F:
    """Compile for exact work: no reordering of sums, no global lock, kept on disk; must not make arrays."""
    compiled: F = _njit(**_OPTIONS, _nrt=False)(function)
    return compiled


def inner_kernel(function: F) -> F:
    """Compile into every kernel that calls it.

    Named tuples travel by value: the arrays' descriptors are some five hundred words, and copying them from call to
    call cost half the time of trying a pose.
    """
    compiled: F = _njit(**_OPTIONS, _nrt=False, forceinline=True)(function)
    return compiled


def guide_kernel(function: F) -> F:
    """Compile, as an inner kernel, figures that only guide: sums may be reordered, so that they run as vectors."""
    compiled: F = _njit(**_OPTIONS, _nrt=False, forceinline=True, fastmath=True)(function)
    return compiled


def driver_kernel(function: F) -> F:
    """Compile a kernel that makes arrays of its own, which the others must not."""
    compiled: F = _njit(**_OPTIONS)(function)
    return compiled


_BRUIJN = np.uint64(0x03F79D71B4CB0A89)  # every six bits in a row of it differ
_BIT_OF = np.zeros(64, dtype=np.int64)
for _bit in range(64):
    _BIT_OF[(int(_BRUIJN) << _bit) % (1 << 64) >> 58] = _bit


@inner_kernel
def lowest_bit(word: np.uint64) -> int:
    """Return the number of the lowest bit that is set in `word`, which is not 0."""
    alone = word & (~word + np.uint64(1))
    bit: int = _BIT_OF[(alone * _BRUIJN) >> np.uint64(58)]
    return bit


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


def forget_older(cache: Path, sources: Path) -> None:
    """Delete from a folder of compiled code what was made from other sources than those in `sources` now.

    Numba looks at the file of a kernel only, not at what that kernel calls, and trips over an index that speaks of a
    class which is gone: after an update or an edit it would run old code, or end with a traceback.
    """
    # What cannot be read or written is left to numba, which then compiles anew or keeps nothing.
    with contextlib.suppress(OSError):
        now = hashlib.sha256()
        for source in sorted(sources.glob("*.py")):
            now.update(source.read_bytes())
        digest = now.hexdigest().encode()
        stamp = cache / "kernels.sha256"
        if stamp.is_file() and stamp.read_bytes() == digest:
            return
        for pattern in ("*.nbi", "*.nbc"):
            for compiled in cache.glob(pattern):
                compiled.unlink(missing_ok=True)
        cache.mkdir(parents=True, exist_ok=True)
        stamp.write_bytes(digest)


def _cache_folder() -> Path | None:
    """Where numba keeps this folder's compiled code: beside the sources, with the user, or where it is told to."""
    stats = getattr(random, "stats", None)  # a plain function where compiling is switched off
    return None if stats is None else Path(stats.cache_path)


# Indexes are read when a kernel is first called, which is after this.
if (_folder := _cache_folder()) is not None:
    forget_older(_folder, Path(__file__).parent)
