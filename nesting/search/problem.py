"""What is to be placed where, in the search's own terms."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from nesting.geometry.pose import Pose
from nesting.search import region as region_arrays
from nesting.search import shapes as shape_arrays
from nesting.search.coarse import outward
from nesting.search.kernels.arrays import Floats, Region, Shapes
from nesting.search.shapes import Shape, centred
from nesting.search.symmetry import Symmetry

Poses = Floats
"""Rows (shape, x, y, turn in radians), one for each item, an array (n, 4)."""

SAME_TURN = 1e-10
"""Turns this near, radians, are the same; poses are written in degrees with nine digits."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One sort of item.  `shape` is its index among the shapes; `most` None means as many as fit.

    Items of a lower `rank` come first, whatever their worth; within a rank more worth is better.  `alike` says how the
    part repeats itself; None leaves that to be seen from the polygon.
    """

    polygon: Polygon
    turns: tuple[float, ...] | None
    may_flip: bool = False
    most: int | None = 1
    rank: int = 1
    worth: float = 0.0
    net_area: float = 0.0
    alike: Symmetry | None = None


class Problem:
    """Kinds of items and the region they may lie in; read-only once made.

    With `plainer` the kernels work on outlines that reach up to that share of a part's size (root of its area) beyond
    it, where that saves corners.  Poses mean the same with and without.  `packed`: the region's arrays, if made before.
    """

    def __init__(
        self,
        kinds: Sequence[Kind],
        region: Polygon | MultiPolygon,
        *,
        plainer: float = 0.0,
        packed: Region | None = None,
    ) -> None:
        self.kinds = tuple(kinds)
        self.region_polygon = region
        self.shape_list: list[Shape] = []
        self.first_shape: list[int] = []
        for kind in kinds:
            k = len(self.shape_list)
            self.first_shape.append(k)
            self.shape_list.append(
                centred(kind.polygon, kind.turns, mirror=k + 1 if kind.may_flip else -1, alike=kind.alike)
            )
            if kind.may_flip:
                self.shape_list.append(centred(kind.polygon, kind.turns, flipped=True, mirror=k, alike=kind.alike))
        if plainer > 0.0:
            self.shape_list = [
                replace(s, polygon=outward(s.polygon, plainer * math.sqrt(s.polygon.area))) for s in self.shape_list
            ]
        self.shapes: Shapes = shape_arrays.pack(self.shape_list, with_nothing=True)
        self.region: Region = region_arrays.pack(region) if packed is None else packed
        self.area = np.array([k.polygon.area for k in kinds])
        self.region_area = float(region.area)
        self.kind_of_shape = np.array(
            [i for i, kind in enumerate(kinds) for _ in range(2 if kind.may_flip else 1)], dtype=np.int64
        )

    def region_within(self, nx: float, ny: float, c: float) -> Region:
        """The region cut by nx x + ny y <= c."""
        return self.region._replace(limit=np.array([nx, ny, c], dtype=np.float64))

    def pose(self, row: Floats) -> Pose:
        """Turn a row of poses into the transform of the kind's own polygon."""
        shape = self.shape_list[int(row[0])]
        flipped = self.first_shape[int(self.kind_of_shape[int(row[0])])] != int(row[0])
        turn = math.degrees(row[3]) % 360.0
        turn = round(turn, 9) % 360.0
        (sx, sy), turned = shape.shift, Pose(turn_deg=turn)
        back = turned.vector((sx, sy))
        return Pose(flipped=flipped, turn_deg=turn, x_mm=float(row[1]) - back[0], y_mm=float(row[2]) - back[1])

    def row(self, kind: int, pose: Pose) -> Floats:
        """Turn a transform of a kind's own polygon into a row of poses; the reverse of `pose`."""
        index = self.first_shape[kind] + (1 if pose.flipped else 0)
        shift_x, shift_y = Pose(turn_deg=pose.turn_deg).vector(self.shape_list[index].shift)
        turn = math.radians(pose.turn_deg)
        # A listed turn is taken to the last digit, so that sides in one line stay in line.
        listed = min(
            self.shape_list[index].turns or (), key=lambda t: abs(math.remainder(t - turn, math.tau)), default=turn
        )
        turn = listed if abs(math.remainder(listed - turn, math.tau)) < SAME_TURN else turn
        return np.array([index, pose.x_mm + shift_x, pose.y_mm + shift_y, turn])

    def extent(self, poses: Poses, nx: float, ny: float) -> float:
        """How far the items reach along a direction."""
        return float(self.extents(poses, nx, ny).max()) if len(poses) else -math.inf

    def extents(self, poses: Poses, nx: float, ny: float) -> Floats:
        """How far each item reaches along a direction."""
        found = []
        for k, x, y, turn in poses:
            corners = np.asarray(self.shape_list[int(k)].polygon.exterior.coords)
            c, s = math.cos(turn), math.sin(turn)
            along = np.array([c * nx + s * ny, -s * nx + c * ny])
            found.append(float((corners @ along).max()) + nx * x + ny * y)
        return np.array(found)

    def placed_polygons(self, poses: Poses) -> list[Polygon]:
        """The items' true polygons where they lie, for a look at them with other code than the kernels."""
        return [self.pose(row).geometry(self.kinds[int(self.kind_of_shape[int(row[0])])].polygon) for row in poses]

    def is_legal(self, polygons: Sequence[Polygon]) -> bool:
        """Tell whether no two polygons overlap and all lie in the region, but for slivers rounding makes."""
        sliver = 1e-6 * math.sqrt(self.region_area)
        return worst_overlap(polygons) <= sliver and all(
            p.difference(self.region_polygon).area <= sliver for p in polygons
        )

    def biggest_first(self, kinds: Sequence[int]) -> list[int]:
        """Order kinds by rank, then by area, largest first."""
        return sorted(kinds, key=lambda k: (self.kinds[k].rank, -self.area[k]))


def worst_overlap(polygons: Sequence[Polygon]) -> float:
    """Return the largest common area of any two polygons; 0 if there are not two."""
    if len(polygons) < 2:
        return 0.0
    tree = shapely.STRtree(list(polygons))
    a, b = tree.query(list(polygons), predicate="intersects")
    areas = [polygons[i].intersection(polygons[j]).area for i, j in zip(a, b, strict=True) if i < j]
    return max(areas, default=0.0)
