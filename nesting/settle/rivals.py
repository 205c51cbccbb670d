"""What else the readouts fit: other corners, swapped names, a plate turned over; and whether that would matter.

Whoever mistakes one corner for another, or lays the plate wrong side up, reads positions that are right for other
corners.  Every such reading of the names that fits as well as the one that was said is a rival.  A rival that lays the
whole outline onto itself is a symmetry of the plate and no fault: the parts then lie on steel either way.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.plate import Plate
from nesting.settle.allowance import Allowance, distances
from nesting.settle.rigid import Floats, fit
from nesting.tolerances import PLACING_CHORD_MM

_SAME_DIRECTION_DEG: Final = 0.5
_SLACK: Final = 2.0
"""Corners are looked for within this many allowances: a pose by two readings is off by more than theirs elsewhere."""


@dataclass(frozen=True, kw_only=True)
class Universe:
    """All points of a plate that a reading may be of: names and places (n, 2), its corners first."""

    names: tuple[str, ...]
    points: Floats


@dataclass(frozen=True, kw_only=True)
class Rival:
    """Another reading of the names.

    `corners` are numbers of the universe's points, in the order of the readings; `mirrored` if the plate lies wrong
    side up.  `moved` is the pose of the drawing that takes each of these corners to the one that was said.
    `differs_mm` is how far the outline so moved is off itself; `symmetric` if no further than the outline is known;
    `unlike` names what else of the plate then lies elsewhere: holes, keep-outs, the grain.
    """

    corners: tuple[int, ...]
    mirrored: bool
    moved: Pose
    differs_mm: float
    symmetric: bool
    unlike: tuple[str, ...]

    @property
    def words(self) -> str:
        """How the drawing would have to be moved."""
        if self.mirrored:
            return "flipped"
        return f"turned by {self.moved.turn_deg % 360.0:.0f} degrees"


def rivals(
    plate: Plate, universe: Universe, said: Sequence[int], measured: Floats, allowance: Allowance
) -> tuple[Rival, ...]:
    """Return every other reading of the names that goes with `measured` (k, 2), those that change most first."""
    grounds = _Grounds(plate, allowance)
    found = []
    for corners, mirrored in fitting(universe, measured, allowance):
        if corners != tuple(said) or mirrored:
            moved = fit(universe.points[list(corners)], universe.points[list(said)], mirrored=mirrored).pose
            found.append(grounds.rival(corners, mirrored, moved))
    return tuple(sorted(found, key=lambda r: (r.symmetric, r.mirrored, -r.differs_mm)))


def fitting(universe: Universe, measured: Floats, allowance: Allowance) -> list[tuple[tuple[int, ...], bool]]:
    """Return all ways to read each measured point as a corner of its own, right or wrong side up, that fit.

    The two readings farthest apart are tried on every pair of corners as far apart; the others follow.
    """
    found: dict[tuple[tuple[int, ...], bool], None] = {}
    away = distances(measured)
    i, j = np.triu_indices(len(measured), 1)
    first, second = int(i[away.argmax()]), int(j[away.argmax()])
    near = allowance.distance_mm(len(away))
    for a, b in _pairs_apart(universe.points, float(away.max()), near):
        for mirrored in (False, True):
            pose = fit(universe.points[[a, b]], measured[[first, second]], mirrored=mirrored).pose
            laid = pose.points(universe.points)
            corners = _assigned(laid, measured, _SLACK * near)
            if corners is None:
                continue
            stored = universe.points[list(corners)]
            if allowance.holds(stored, measured, fit(stored, measured, mirrored=mirrored).squares_mm2):
                found[(corners, mirrored)] = None
    return list(found)


def _pairs_apart(points: Floats, distance_mm: float, near_mm: float) -> Iterator[tuple[int, int]]:
    apart = np.hypot(*np.moveaxis(points[:, None] - points, -1, 0))
    close = np.abs(apart - distance_mm) <= near_mm
    np.fill_diagonal(close, False)
    yield from ((int(a), int(b)) for a, b in np.argwhere(close))


def _assigned(laid: Floats, measured: Floats, near_mm: float) -> tuple[int, ...] | None:
    """Return the nearest posed corner of each reading; None where one is too far off or serves two."""
    apart = np.hypot(*np.moveaxis(measured[:, None] - laid, -1, 0))
    nearest: NDArray[np.int64] = apart.argmin(axis=1)
    if apart.min(axis=1).max() > near_mm or len(set(nearest.tolist())) < len(measured):
        return None
    return tuple(int(k) for k in nearest)


class _Grounds:
    """The plate as shapes, to tell symmetries by."""

    def __init__(self, plate: Plate, allowance: Allowance) -> None:
        self.plate = plate
        self.known_mm = max(allowance.uncertainty_mm, allowance.sigma_mm)
        self.outline = _ring(plate.outer)
        self.holes = [_ring(hole) for hole in plate.holes]
        self.keep_outs = [_ring(k.contour) for k in plate.keep_outs]

    def rival(self, corners: tuple[int, ...], mirrored: bool, moved: Pose) -> Rival:
        differs = _off([self.outline], moved)
        symmetric = differs <= self.known_mm
        unlike = []
        if symmetric:
            unlike = [
                name
                for name, shapes in (("holes", self.holes), ("keep-outs", self.keep_outs))
                if shapes and _off(shapes, moved) > self.known_mm
            ]
            grain = self.plate.grain_deg
            if grain is not None:
                apart = math.remainder(moved.direction_deg(grain) - grain, 180.0)
                unlike += ["the grain"] if abs(apart) > _SAME_DIRECTION_DEG else []
        return Rival(
            corners=corners,
            mirrored=mirrored,
            moved=moved,
            differs_mm=differs,
            symmetric=symmetric,
            unlike=tuple(unlike),
        )


def _ring(contour: Contour) -> shapely.LineString:
    return contour.polygon(PLACING_CHORD_MM, "midway").boundary


def _off(shapes: Sequence[BaseGeometry], moved: Pose) -> float:
    """How far shapes and the same shapes moved are apart at their corners, the worst of either."""
    here = shapely.union_all(list(shapes))
    there = moved.geometry(here)
    return max(_farthest(here, there), _farthest(there, here))


def _farthest(points_of: BaseGeometry, lines: BaseGeometry) -> float:
    return float(shapely.distance(shapely.points(shapely.get_coordinates(points_of)), lines).max())
