"""On which side of its tapes a corner lies: what is said, what the readings leave open, what would settle it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from shapely.geometry import MultiPoint, Polygon

from nesting.errors import InputError
from nesting.outline.bounds import worst_sigma
from nesting.outline.network import Adjusted, Floats, Pair
from nesting.outline.placing import Hopeful, Judge, Placed
from nesting.outline.tape_words import told_in
from nesting.outline.taped import Said
from nesting.units import Unit

_MOST_CHOICES: Final = 6
_ROUGH: Final = 40.0
"""Before all readings are adjusted a misread one may put a corner so many deviations off."""

_UNSURE: Final = 3.0
"""A corner nearer to its line than this many deviations of a tape is on neither side for certain."""


class SideOpenError(InputError):
    """The readings fit more than one figure; `choices` maps what may be said to a sentence for people."""

    def __init__(self, message: str, choices: dict[str, str]) -> None:
        super().__init__(message)
        self.choices = choices


@dataclass(frozen=True, kw_only=True)
class Claim:
    """A corner said to lie left (`sign` 1) or right (-1) of the line from one corner to another."""

    corner: int
    start: int
    end: int
    sign: float

    def held_by(self, corner: Floats, start: Floats, end: Floats) -> float:
        """How far the corner lies on the side it is said to, mm; negative on the other."""
        return self.sign * _left_of(start, end, corner)

    def deviation(self, found: Adjusted) -> float:
        """Standard deviation of that distance, raised where the readings disagree more than they should."""
        start, end, corner = (found.points[k] for k in (self.start, self.end, self.corner))
        along = (end - start) / max(math.hypot(*(end - start)), 1e-12)
        share = float((corner - start) @ along) / max(math.hypot(*(end - start)), 1e-12)
        across = np.array([-along[1], along[0]])
        slope = np.zeros(2 * len(found.points))
        for k, weight in ((self.corner, 1.0), (self.start, share - 1.0), (self.end, -share)):
            slope[2 * k : 2 * k + 2] += weight * across
        return max(1.0, found.spread) * math.sqrt(max(float(slope @ found.covariance @ slope), 0.0))


def claims(names: Sequence[str], edge: Sequence[int], said: Said) -> tuple[Claim, ...]:
    """Return what is said of sides and dents, corner by corner; a dent lies left of the line past it."""
    number = {name: k for k, name in enumerate(names)}
    found = [
        Claim(corner=number[c], start=number[s.start], end=number[s.end], sign=1.0 if s.left else -1.0)
        for s in said.sides
        for c in s.corners
    ]
    if said.dents is not None:
        dents = {number[d] for d in said.dents}
        beside = zip((edge[-1], *edge[:-1]), edge, (*edge[1:], edge[0]), strict=True)
        found += [Claim(corner=c, start=a, end=b, sign=1.0 if c in dents else -1.0) for a, c, b in beside]
    return tuple(found)


def judge(edge: Sequence[int], said: Sequence[Claim], sigma_mm: float, inner: Sequence[int] = ()) -> Judge:
    """Return the test whether corners go round the edge counter-clockwise, uncrossed, and as was said.

    Corners of holes, `inner`, lie on the plate.  A corner nearer to its line than it is certain may be on either side;
    before it is adjusted, than mistakes reach.
    """

    def lawful(points: Floats, adjusted: Adjusted | None) -> bool:
        outline = points[list(edge)]
        if _area(outline) <= 0.0 or not Polygon(outline).is_valid:
            return False
        for claim in said:
            slack = _ROUGH * sigma_mm if adjusted is None else _UNSURE * max(sigma_mm, claim.deviation(adjusted))
            if claim.held_by(points[claim.corner], points[claim.start], points[claim.end]) < -slack:
                return False
        slack = _ROUGH * sigma_mm if adjusted is None else _UNSURE * max(sigma_mm, _worst(adjusted, inner))
        return not inner or bool(Polygon(outline).buffer(slack).covers(MultiPoint(points[list(inner)])))

    return lawful


def _worst(found: Adjusted, corners: Sequence[int]) -> float:
    """Largest standard deviation of these corners in any direction."""
    flat = [axis for k in corners for axis in (2 * k, 2 * k + 1)]
    return max(1.0, found.spread) * worst_sigma(found.covariance[np.ix_(flat, flat)]) if flat else 0.0


def hope(said: Sequence[Claim], sigma_mm: float) -> Hopeful:
    """Return the test whether corners laid so far, or their mirror image, may still become what was said.

    What is said of sides and dents must so far be all true, or all false, which the mirror image makes true.
    """
    slack = _ROUGH * sigma_mm

    def hopeful(placed: Placed) -> bool:
        off = [
            c.held_by(np.array(placed[c.corner]), np.array(placed[c.start]), np.array(placed[c.end]))
            for c in said
            if c.corner in placed and c.start in placed and c.end in placed
        ]
        return not (any(o > slack for o in off) and any(o < -slack for o in off))

    return hopeful


def truest(figures: Sequence[Adjusted], said: Sequence[Claim]) -> list[Adjusted]:
    """Return those of several figures that keep to the letter what was said; all of them where none does."""
    kept = [
        f
        for f in figures
        if all(c.held_by(f.points[c.corner], f.points[c.start], f.points[c.end]) >= 0.0 for c in said)
    ]
    return kept or list(figures)


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
    inner: Sequence[int] = (),
    unit: Unit = "mm",
) -> SideOpenError:
    """Return the error that asks which of several figures is the true one, and names the tape that would tell."""
    ways = {_dent_words(names, dents_of(f, edge)): f for f in reversed(figures)}
    base = [k for k in range(len(names)) if k not in edge and k not in inner]
    if len(ways) == len(figures) <= _MOST_CHOICES and not base:
        choices = {f"dents {way}": _told(way) for way in ways}
        asked = "say which corners point into the plate: " + ", or ".join(
            f"--dents {w.replace(' ', ',')}" for w in ways
        )
    else:
        corner, start, end = _parting(figures, edge, base, inner)
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
        f"other; {asked}; or take tape {_deciding(names, pairs, figures, unit)}",
        choices,
    )


def _dent_words(names: Sequence[str], dents: Sequence[int]) -> str:
    return " ".join(names[k] for k in dents) or "none"


def _told(way: str) -> str:
    return "no corner points into the plate" if way == "none" else f"pointing into the plate: {way}, no other corner"


def _parting(
    figures: Sequence[Floats], edge: Sequence[int], base: Sequence[int], inner: Sequence[int]
) -> tuple[int, int, int]:
    """A corner and a line that have it left in some of the figures and right in others, as clearly as can be.

    The line of two base points if there are such, and if that tells.
    """
    best, found = -1.0, (edge[2], edge[0], edge[1])
    for start, end in [*([(base[0], base[1])] if len(base) == 2 else []), *combinations(edge, 2)]:
        if best > 0.0 and base and (start, end) != (base[0], base[1]):
            break
        for corner in (*edge, *inner):
            if corner in (start, end):
                continue
            off = [_left_of(f[start], f[end], f[corner]) for f in figures]
            clear = min(abs(o) for o in off) if min(off) < 0.0 < max(off) else -1.0
            if clear > best:
                best, found = clear, (corner, start, end)
    return found


def _deciding(names: Sequence[str], pairs: Sequence[Pair], figures: Sequence[Floats], unit: Unit) -> str:
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
    expected = " or ".join(told_in(unit, length, 0).split()[0] for length in lengths(best)[:4])
    return f"{names[best[0]]}-{names[best[1]]} (about {expected} {told_in(unit, 0.0).split()[1]})"


def _left_of(start: Floats, end: Floats, point: Floats) -> float:
    """Distance of a point from a line, positive to the left of its direction."""
    along = end - start
    away = point - start
    return float(along[0] * away[1] - along[1] * away[0]) / max(math.hypot(*along), 1e-12)


def _area(outline: Floats) -> float:
    x, y = outline.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
