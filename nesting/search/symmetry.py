"""Which turns and flips of a shape look alike, so that none is tried under two names."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

Floats = NDArray[np.float64]
Area: TypeAlias = Polygon | MultiPolygon

RELATIVE_TOLERANCE: Final = 1e-6
"""Share of its size that a shape may differ from itself turned and still count as the same."""

MOST_FOLD: Final = 36
_MOST_CANDIDATES: Final = 200
_SAME_TURN: Final = 1e-9
_FULL: Final = 2 * math.pi


@dataclass(frozen=True, slots=True, kw_only=True)
class Symmetry:
    """A shape turned by any multiple of 1 / `fold` of a full turn looks the same; a `round` one at any turn.

    Mirrored in x it looks as it does turned by `mirror_turn` (radians), None if it looks so at no turn.
    """

    fold: int = 1
    round: bool = False
    mirror_turn: float | None = None

    def distinct(self, turns: Sequence[float]) -> tuple[float, ...]:
        """Return the first of each group of turns (radians) that look alike."""
        if self.round:
            return tuple(turns[:1])
        kept: list[float] = []
        for turn in turns:
            if not self._among(turn, kept):
                kept.append(turn)
        return tuple(kept)

    def flip_adds(self, turns: Sequence[float] | None) -> bool:
        """Tell whether turning the part over makes it look as no turn allowed does; `turns` None are all."""
        if self.round:
            return False
        if self.mirror_turn is None or turns is None:
            return self.mirror_turn is None
        return not all(self._among(turn + self.mirror_turn, turns) for turn in turns)

    def _among(self, turn: float, turns: Sequence[float]) -> bool:
        step = _FULL / self.fold
        return any(abs(math.remainder(turn - other, step)) < _SAME_TURN for other in turns)


def symmetry(shape: Area, *, tolerance: float = 0.0) -> Symmetry:
    """Return how a shape repeats itself about its area's centroid.

    Compared are corners and middles of all edges with the edge of the shape turned, both ways round; none may be off by
    more than `tolerance`, or `RELATIVE_TOLERANCE` of the size if that is more.  Folds above `MOST_FOLD` are not looked
    for but in their divisors.
    """
    rim = _Rim(shape, tolerance)
    if rim.is_round:
        return Symmetry(fold=MOST_FOLD, round=True, mirror_turn=0.0)
    fold = next((n for n in range(MOST_FOLD, 1, -1) if rim.repeats(_FULL / n)), 1)
    return Symmetry(fold=fold, mirror_turn=next((t for t in rim.mirror_candidates() if rim.mirrors(t)), None))


class _Rim:
    """The edge of a shape, its centroid at the origin, and points of it."""

    def __init__(self, shape: Area, tolerance: float) -> None:
        middle = np.array(shape.centroid.coords[0])
        self.boundary = shapely.transform(shape.boundary, lambda xy: xy - middle)
        shapely.prepare(self.boundary)
        self.rings = [shapely.get_coordinates(ring) for ring in shapely.get_parts(self.boundary)]
        self.corners: Floats = np.vstack([ring[:-1] for ring in self.rings])
        middles = np.vstack([(ring[:-1] + ring[1:]) / 2 for ring in self.rings])
        points = np.vstack([self.corners, middles])
        # What lies farthest out tells most differences at once.
        self.points: Floats = points[np.argsort(-np.hypot(*points.T))]
        self.tolerance = max(tolerance, RELATIVE_TOLERANCE * 2 * float(np.hypot(*self.points[0])))

    @property
    def is_round(self) -> bool:
        """True if every ring is a circle about the centroid."""
        for ring in self.rings:
            radii = np.hypot(*np.vstack([ring, (ring[:-1] + ring[1:]) / 2]).T)
            if radii.max() - radii.min() > 2 * self.tolerance:
                return False
        return True

    def repeats(self, turn: float) -> bool:
        """Tell whether the shape turned lies on itself."""
        return self._on_edge(self.points, turn) and self._on_edge(self.points, -turn)

    def mirrors(self, turn: float) -> bool:
        """Tell whether the shape mirrored in x lies on the shape turned."""
        # A point p of the mirror image lies on the turned edge if p turned back lies on the edge; and this map is
        # its own inverse, so that one way round is both.
        return self._on_edge(self.points * (-1.0, 1.0), -turn)

    def mirror_candidates(self) -> list[float]:
        """Return turns that bring one corner's mirror image to where a corner is: one of them mirrors, or none does."""
        radii, order = self._radii
        low = np.searchsorted(order, radii - 2 * self.tolerance)
        high = np.searchsorted(order, radii + 2 * self.tolerance, side="right")
        alike = high - low
        alike[radii < 0.1 * radii.max()] = len(radii)
        rarest = int(np.lexsort((-radii, alike))[0])
        if alike[rarest] > _MOST_CANDIDATES:
            return []
        x, y = self.corners[rarest]
        others = self.corners[np.abs(radii - radii[rarest]) <= 2 * self.tolerance]
        turns = (np.arctan2(y, -x) - np.arctan2(others[:, 1], others[:, 0])) % _FULL
        return [float(t) for t in turns]

    @cached_property
    def _radii(self) -> tuple[Floats, Floats]:
        radii = np.hypot(*self.corners.T)
        return radii, np.sort(radii)

    def _on_edge(self, points: Floats, turn: float) -> bool:
        c, s = math.cos(turn), math.sin(turn)
        turned = points @ np.array([[c, s], [-s, c]])
        for some in (turned[:1], turned[:16], turned[:: len(turned) // 64 + 1], turned):
            if not shapely.dwithin(self.boundary, shapely.points(some), self.tolerance).all():
                return False
        return True
