"""Which tapes to take next, so that a misread one is named right."""

from collections.abc import Callable, Iterable, Sequence
from itertools import combinations
from math import comb
from typing import Final

import numpy as np

from nesting.outline.network import Floats, Pair, rigidity

_MOST_TRIED: Final = 1500
_MOST_FORESEEN: Final = 12
_ENOUGH: Final = 0.4
_HELD: Final = 1e-6
_STIFF: Final = 0.4
_UNCHECKED: Final = 1e-9


def separation(points: Floats, pairs: Sequence[Pair]) -> Floats:
    """How surely a mistake in each tape is told from one in any other, 0 (not at all) to 1.

    A mistake of m standard deviations in tape i moves its own test by m sqrt(r_i) and that of tape j by rho_ij of it,
    and the difference of both tests scatters by sqrt(2 (1 - rho)): what counts is sqrt(r_i (1 - |rho_ij|)).
    """
    slopes = rigidity(points, pairs)
    u, s, _ = np.linalg.svd(slopes, full_matrices=False)
    u = u[:, s > _UNCHECKED * s[0]]
    share = np.eye(len(pairs)) - u @ u.T
    checked = np.clip(np.diag(share), 0.0, 1.0)
    seen = np.sqrt(np.maximum(checked, _UNCHECKED))
    alike = np.abs(share / np.outer(seen, seen))
    np.fill_diagonal(alike, 0.0)
    apart: Floats = np.sqrt(np.where(checked > 1e-6, checked * (1.0 - np.minimum(alike.max(axis=1), 1.0)), 0.0))
    return apart


def next_tapes(points: Floats, pairs: Sequence[Pair], count: int, may: Iterable[Pair]) -> tuple[Pair, ...]:
    """Return the `count` tapes of `may` that best let a misread tape be named, the most useful first.

    They are chosen together, and with those that are still to come until there is a spare tape for every corner but
    two: the best single tape is seldom one of the best set.  Tapes that hold what is loose come before all others.
    """
    taken = {tuple(sorted(p)) for p in pairs}
    open_pairs = [p for p in dict.fromkeys((min(p), max(p)) for p in may) if p not in taken]
    count = min(count, len(open_pairs))
    if count == 0:
        return ()

    def worth(chosen: Sequence[Pair]) -> float:
        return _worth(points, [*pairs, *chosen])

    corners = len(points)
    wanted = 3 * corners - 5 - len(pairs) if corners <= _MOST_FORESEEN else 0
    chosen = _best_set(open_pairs, min(max(count, wanted), len(open_pairs)), worth)
    first: list[Pair] = []
    while len(first) < count:
        first.append(max((p for p in chosen if p not in first), key=lambda p: worth([*first, p])))
    return tuple(first)


def _worth(points: Floats, pairs: Sequence[Pair]) -> float:
    apart = separation(points, pairs)
    stiff = np.linalg.svd(rigidity(points, pairs), compute_uv=False)
    # The least stiff motion counts up to a limit: a flat corner on two tapes alone swings though it is held.
    held = int((stiff > _HELD).sum())
    least = min(float(stiff[held - 1]), _STIFF)
    return 10.0 * held + 2.0 * least + float(np.minimum(apart, _ENOUGH).mean() + apart.min())


def _best_set(open_pairs: Sequence[Pair], count: int, worth: Callable[[Sequence[Pair]], float]) -> tuple[Pair, ...]:
    """All choices are tried where they are few; else one after the other is taken, and then each exchanged once."""
    if comb(len(open_pairs), count) <= _MOST_TRIED:
        return max(combinations(open_pairs, count), key=worth)
    chosen: list[Pair] = []
    for _ in range(count):
        chosen.append(max((p for p in open_pairs if p not in chosen), key=lambda p: worth([*chosen, p])))
    for k in range(count):
        others = [*chosen[:k], *chosen[k + 1 :]]
        chosen[k] = max((p for p in open_pairs if p not in others), key=lambda p: worth([*others, p]))
    return tuple(chosen)
