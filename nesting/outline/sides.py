"""On which side of its tapes a corner lies: what is said, what the readings leave open, what would settle it."""

import math
from collections.abc import Sequence
from itertools import combinations
from typing import Final

import numpy as np
from shapely.geometry import Polygon

from nesting.errors import InputError
from nesting.outline.network import Floats, Pair
from nesting.outline.placing import Hopeful, Judge, Placed
from nesting.outline.taped import Said

_MOST_CHOICES: Final = 6
_UNSURE: Final = 3.0
"""A corner nearer to its line than this many deviations of a tape is on neither side for certain."""


class SideOpenError(InputError):
    """The readings fit more than one figure; `choices` maps what may be said to a sentence for people."""

    def __init__(self, message: str, choices: dict[str, str]) -> None:
        super().__init__(message)
        self.choices = choices


def judge(names: Sequence[str], edge: Sequence[int], said: Said, sigma_mm: float) -> Judge:
    """Return the test whether corners go round the edge counter-clockwise, uncrossed, and as was said."""
    number = {name: k for k, name in enumerate(names)}
    dents = None if said.dents is None else {number[d] for d in said.dents}
    slack = _UNSURE * sigma_mm

    def lawful(points: Floats) -> bool:
        outline = points[list(edge)]
        if _area(outline) <= 0.0 or not Polygon(outline).is_valid:
            return False
        for side in said.sides:
            start, end = points[number[side.start]], points[number[side.end]]
            for name in side.corners:
                off = _left_of(start, end, points[number[name]])
                if (off if side.left else -off) < -slack:
                    return False
        if dents is None:
            return True
        for k, corner in enumerate(edge):
            out = -_left_of(outline[k - 1], outline[(k + 1) % len(edge)], outline[k])
            if (-out if corner in dents else out) < -slack:
                return False
        return True

    return lawful


def hope(names: Sequence[str], edge: Sequence[int], said: Said, sigma_mm: float) -> Hopeful:
    """Return the test whether corners laid so far, or their mirror image, may still become what was said.

    What is said of sides and dents must so far be all true, or all false, which the mirror image makes true.
    """
    number = {name: k for k, name in enumerate(names)}
    lines = [
        (number[c], number[s.start], number[s.end], 1.0 if s.left else -1.0) for s in said.sides for c in s.corners
    ]
    if said.dents is not None:
        dents = {number[d] for d in said.dents}
        beside = zip((edge[-1], *edge[:-1]), edge, (*edge[1:], edge[0]), strict=True)
        lines += [(c, a, b, 1.0 if c in dents else -1.0) for a, c, b in beside]
    slack = _UNSURE * sigma_mm

    def hopeful(placed: Placed) -> bool:
        known = [(c, a, b, sign) for c, a, b, sign in lines if c in placed and a in placed and b in placed]
        off = [sign * _left_of(*(np.array(placed[k]) for k in (a, b, c))) for c, a, b, sign in known]
        return not (any(o > slack for o in off) and any(o < -slack for o in off))

    return hopeful


def dents_of(points: Floats, edge: Sequence[int]) -> tuple[int, ...]:
    """Corners that point into the plate."""
    outline = points[list(edge)]
    return tuple(
        sorted(
            c for k, c in enumerate(edge) if _left_of(outline[k - 1], outline[(k + 1) % len(edge)], outline[k]) > 0.0
        )
    )


def side_open(
    source: str,
    names: Sequence[str],
    edge: Sequence[int],
    pairs: Sequence[Pair],
    figures: Sequence[Floats],
    *,
    complete: bool,
) -> SideOpenError:
    """Return the error that asks which of several figures is the true one, and names the tape that would tell."""
    ways = {_dent_words(names, dents_of(f, edge)): f for f in reversed(figures)}
    base = [k for k in range(len(names)) if k not in edge]
    if len(ways) == len(figures) <= _MOST_CHOICES and not base:
        choices = {f"dents {way}": _told(way) for way in ways}
        asked = "say which corners point into the plate: " + ", or ".join(
            f"--dents {w.replace(' ', ',')}" for w in ways
        )
    else:
        corner, start, end = _parting(figures, edge, base)
        line = f"{names[start]} {names[end]}"
        choices = {
            f"{names[corner]} {word} of {line}": f"{names[corner]} lies {word} of the line from {line}"
            for word in ("left", "right")
        }
        asked = "say on which side it lies: " + ", or ".join(f'--side "{c}"' for c in choices)
    if len(base) == 2:
        every, line = (" ".join(names[k] for k in which) for which in (edge, base))
        asked += f'; where all corners lie on one side of the base, --side "{every} left of {line}"'
    moved = np.ptp(np.array(figures), axis=0).max(axis=1)
    loose = [names[k] for k in np.argsort(-moved) if moved[k] > 0.5 * moved.max()]
    several = f"{'' if complete else 'at least '}{len(figures)} figures"
    whose = "their" if len(loose) > 1 else "its"
    return SideOpenError(
        f"{source}: the tapes fit {several}, with {' and '.join(sorted(loose))} on one side of {whose} tapes or the "
        f"other; {asked}; or take tape {_deciding(names, pairs, figures)}",
        choices,
    )


def _dent_words(names: Sequence[str], dents: Sequence[int]) -> str:
    return " ".join(names[k] for k in dents) or "none"


def _told(way: str) -> str:
    return "no corner points into the plate" if way == "none" else f"pointing into the plate: {way}, no other corner"


def _parting(figures: Sequence[Floats], edge: Sequence[int], base: Sequence[int]) -> tuple[int, int, int]:
    """A corner and a line that have it left in some of the figures and right in others, as clearly as can be.

    The line of two base points if there are such, and if that tells.
    """
    best, found = -1.0, (edge[2], edge[0], edge[1])
    for start, end in [*([(base[0], base[1])] if len(base) == 2 else []), *combinations(edge, 2)]:
        if best > 0.0 and base and (start, end) != (base[0], base[1]):
            break
        for corner in edge:
            if corner in (start, end):
                continue
            off = [_left_of(f[start], f[end], f[corner]) for f in figures]
            clear = min(abs(o) for o in off) if min(off) < 0.0 < max(off) else -1.0
            if clear > best:
                best, found = clear, (corner, start, end)
    return found


def _deciding(names: Sequence[str], pairs: Sequence[Pair], figures: Sequence[Floats]) -> str:
    """The tape not yet taken whose length tells the figures apart best, with the lengths to be expected."""
    taken = {tuple(sorted(p)) for p in pairs}

    def lengths(pair: Pair) -> list[float]:
        return sorted(float(np.hypot(*(f[pair[0]] - f[pair[1]]))) for f in figures)

    def clear(pair: Pair) -> float:
        found = lengths(pair)
        return min(b - a for a, b in zip(found, found[1:], strict=False))

    open_pairs = [p for p in combinations(range(len(names)), 2) if p not in taken]
    if not open_pairs:
        return "readings again"
    best = max(open_pairs, key=clear)
    expected = " or ".join(f"{length:.0f}" for length in lengths(best)[:4])
    return f"{names[best[0]]}-{names[best[1]]} (about {expected} mm)"


def _left_of(start: Floats, end: Floats, point: Floats) -> float:
    """Distance of a point from a line, positive to the left of its direction."""
    along = end - start
    away = point - start
    return float(along[0] * away[1] - along[1] * away[0]) / max(math.hypot(*along), 1e-12)


def _area(outline: Floats) -> float:
    x, y = outline.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
