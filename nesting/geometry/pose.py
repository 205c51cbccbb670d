"""The one transform a flat part may undergo: flip, turn, shift."""

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry

Point = tuple[float, float]
G = TypeVar("G", bound=BaseGeometry)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """Maps a drawing to another: mirror x if `flipped`, turn counter-clockwise about the origin, shift."""

    flipped: bool = False
    turn_deg: float = 0.0
    x_mm: float = 0.0
    y_mm: float = 0.0

    @property
    def cosine_sine(self) -> tuple[float, float]:
        """Cosine and sine of the turn, exact at whole quarter turns."""
        turn = self.turn_deg % 360.0
        exact = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}.get(turn)
        return exact or (math.cos(math.radians(turn)), math.sin(math.radians(turn)))

    def point(self, point: Point) -> Point:
        """Map one point."""
        c, s = self.cosine_sine
        x, y = (-point[0] if self.flipped else point[0]), point[1]
        return (c * x - s * y + self.x_mm, s * x + c * y + self.y_mm)

    def drawn_point(self, point: Point) -> Point:
        """Map one point back: where it is in the drawing that the pose was given to."""
        c, s = self.cosine_sine
        dx, dy = point[0] - self.x_mm, point[1] - self.y_mm
        x, y = c * dx + s * dy, c * dy - s * dx
        return (-x if self.flipped else x, y)

    def points(self, points: ArrayLike) -> NDArray[np.float64]:
        """Map an (n, 2) array of points."""
        xy = np.asarray(points, dtype=np.float64)
        moved: NDArray[np.float64] = xy @ self._matrix.T + np.array([self.x_mm, self.y_mm])
        return moved

    def vector(self, vector: Point) -> Point:
        """Map a direction: flip and turn, no shift."""
        c, s = self.cosine_sine
        x, y = (-vector[0] if self.flipped else vector[0]), vector[1]
        return (c * x - s * y, s * x + c * y)

    def direction_deg(self, angle_deg: float) -> float:
        """Map the angle of a direction."""
        return (180.0 - angle_deg if self.flipped else angle_deg) + self.turn_deg

    def geometry(self, geometry: G) -> G:
        """Map a shapely geometry."""
        moved: G = shapely.transform(geometry, self.points)
        return moved

    @property
    def _matrix(self) -> NDArray[np.float64]:
        c, s = self.cosine_sine
        m = -1.0 if self.flipped else 1.0
        return np.array([[c * m, -s], [s * m, c]])
