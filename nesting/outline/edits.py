"""Changes to a plate without measuring it again: none of them makes it larger."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.geometry.curves import Line
from nesting.geometry.pose import Pose
from nesting.outline.inside import contours_of, simpler_inside
from nesting.outline.rings import Vertex, ring, vertices_of
from nesting.plate import Plate
from nesting.tolerances import FINE_CHORD_MM

Floats = NDArray[np.float64]

_SAME_MM = 1e-6
_FARTHEST = 5.0
"""Where lines meet so flat that their corner would move by this many tolerances, it is left alone."""


def posed(plate: Plate, pose: Pose) -> Plate:
    """Return the plate in another place, its holes, keep-outs and grain with it."""
    grain = None if plate.grain_deg is None else pose.direction_deg(plate.grain_deg) % 180.0
    return replace(
        plate,
        outer=plate.outer.posed(pose),
        holes=tuple(h.posed(pose) for h in plate.holes),
        keep_outs=tuple(replace(k, contour=k.contour.posed(pose)) for k in plate.keep_outs),
        grain_deg=grain,
    )


def mirrored(plate: Plate) -> Plate:
    """Return the plate as seen from its other face, for one that was measured from the back."""
    x0, _, x1, _ = plate.fine_polygon.bounds
    return posed(plate, Pose(flipped=True, x_mm=x0 + x1))


def laid_along(plate: Plate) -> Plate:
    """Turn the plate so that its longest straight edge lies along the x axis, the plate above it, its left end at 0."""
    lines = [p for p in plate.outer.pieces if isinstance(p, Line)]
    if not lines:
        raise InputError(f"{plate.name}: no straight edge to lay along the x axis")
    longest = max(lines, key=lambda p: p.length_mm)
    # Outlines run counter-clockwise: the plate lies left of every edge.
    along = math.degrees(math.atan2(longest.end[1] - longest.start[1], longest.end[0] - longest.start[0]))
    turned = posed(plate, Pose(turn_deg=-along))
    x, y = Pose(turn_deg=-along).point(longest.start)
    return posed(turned, Pose(x_mm=-x, y_mm=-y))


def straightened(plate: Plate, tolerance_mm: float) -> Plate:
    """Make one straight edge of corners that lie within `tolerance_mm` of a line, moved in as far as any dent reaches.

    Arcs stay, and so does the whole outline where no straight one fits inside.  Raise `InputError` for curves other
    than lines and arcs.
    """
    try:
        vertices = vertices_of(plate.outer)
    except ValueError as error:
        raise InputError(f"{plate.name}: {error}; simplify the outline first") from None
    outer = ring(_with_straight_runs(vertices, tolerance_mm), plate.name)
    before, after = (c.polygon(FINE_CHORD_MM, "midway") for c in (plate.outer, outer))
    return replace(plate, outer=outer) if before.buffer(_SAME_MM).covers(after) else plate


def simplified(plate: Plate, tolerance_mm: float) -> Plate:
    """Return the plate with fewer corners and no arcs, inside the former one and within `tolerance_mm` of its edge.

    Corners sharper than square lose more at their tip.  Raise `InputError` where nothing is left.
    """
    if not tolerance_mm > 0.0:
        raise InputError(f"a tolerance of {tolerance_mm:g} mm; give more than 0")
    chord, rest = tolerance_mm / 4, tolerance_mm * 3 / 4
    inside = simpler_inside(plate.outer.polygon(chord, "inward"), rest)
    if inside.is_empty:
        raise InputError(
            f"{plate.name}: nothing is left within {tolerance_mm:g} mm of the edge; give a smaller tolerance"
        )
    outer, _ = contours_of(inside)
    holes = [h.polygon(chord, "outward").buffer(rest / 2, join_style="mitre").simplify(rest / 2) for h in plate.holes]
    return replace(plate, outer=outer, holes=tuple(contours_of(h)[0] for h in holes))


def _with_straight_runs(vertices: Sequence[Vertex], tolerance_mm: float) -> list[Vertex]:
    """Corners that stay, moved where the lines beside them moved in; corners beside arcs stay where they are."""
    xy = np.array([v[:2] for v in vertices])
    n = len(xy)
    arcs = [k for k in range(n) if vertices[k][2]]
    fixed = sorted({k for a in arcs for k in (a, (a + 1) % n)}) or _far_apart(xy)
    kept = sorted(
        {c for a, b in zip(fixed, [*fixed[1:], fixed[0] + n], strict=True) for c in _kept(xy, a, b, tolerance_mm)}
    )
    lines = []
    for a, b in zip(kept, [*kept[1:], kept[0] + n], strict=True):
        ends = xy[a], xy[b % n]
        dent = max((_left_of(*ends, xy[c % n]) for c in range(a + 1, b)), default=0.0)
        lines.append((*ends, max(dent, 0.0)))
    found: list[Vertex] = []
    for k, corner in enumerate(kept):
        bulge = vertices[corner][2]
        moves = lines[k - 1][2] > 0.0 or lines[k][2] > 0.0
        at = _meeting(lines[k - 1], lines[k]) if moves and corner not in (fixed if arcs else ()) else xy[corner]
        if moves and (at is None or math.dist(at, xy[corner]) > _FARTHEST * tolerance_mm):
            at = None
        if at is None or (moves and arcs and corner in fixed):
            # Nothing straight to be had here without reaching past the edge: all its corners stay.
            return list(vertices)
        found.append((float(at[0]), float(at[1]), bulge))
    return found


def _far_apart(xy: Floats) -> list[int]:
    first = int(np.hypot(*(xy - xy.mean(axis=0)).T).argmax())
    return sorted((first, int(np.hypot(*(xy - xy[first]).T).argmax())))


def _kept(xy: Floats, a: int, b: int, tolerance_mm: float) -> list[int]:
    """Corners from a to b (numbers may run over the end) that no line within the tolerance can do without."""
    n = len(xy)
    inner = range(a + 1, b)
    off = [abs(_left_of(xy[a % n], xy[b % n], xy[c % n])) for c in inner]
    if not off or max(off) <= tolerance_mm:
        return [a % n, b % n]
    worst = inner[int(np.argmax(off))]
    return [*_kept(xy, a, worst, tolerance_mm), *_kept(xy, worst, b, tolerance_mm)]


def _left_of(start: Floats, end: Floats, point: Floats) -> float:
    along, away = end - start, point - start
    return float(along[0] * away[1] - along[1] * away[0]) / max(math.hypot(*along), 1e-12)


def _meeting(one: tuple[Floats, Floats, float], other: tuple[Floats, Floats, float]) -> Floats | None:
    """Where two lines meet that are moved to their left; None where they run the same way."""
    (a, u), (b, v) = (_moved(*line) for line in (one, other))
    cross = float(u[0] * v[1] - u[1] * v[0])
    if abs(cross) < 1e-3:
        return None
    away = b - a
    met: Floats = a + u * (away[0] * v[1] - away[1] * v[0]) / cross
    return met


def _moved(start: Floats, end: Floats, left_mm: float) -> tuple[Floats, Floats]:
    unit = (end - start) / max(math.hypot(*(end - start)), 1e-12)
    return start + left_mm * np.array([-unit[1], unit[0]]), unit
