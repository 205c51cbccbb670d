"""Which parts are one and the same shape, moved and turned, or its mirror picture."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import affinity
from shapely.geometry import Polygon

from nesting.drawing.findings import Finding
from nesting.geometry.contour import region
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.tolerances import JOIN_SILENT_MM, NESTING_CHORD_MM

_APART_MM: Final = JOIN_SILENT_MM + 2 * NESTING_CHORD_MM
"""Two flattenings of one contour may differ by their chord errors."""

_MOST_TRIES: Final = 400


@dataclass(frozen=True, slots=True)
class Same:
    """Part number `index` of a list is the shape of the earlier part `first`; turned over if `mirrored`."""

    index: int
    first: int
    mirrored: bool


@dataclass(frozen=True, slots=True)
class _Shape:
    """A part about its own centroid; `features` are corners and hole centres by their distance from it."""

    part: Part
    polygon: Polygon
    features: dict[tuple[str, int], list[Point]]


def same_parts(parts: Sequence[Part]) -> tuple[Same, ...]:
    """Return every part that equals an earlier one, within `JOIN_SILENT_MM` all along its contours.

    Holes, marks and texts must agree too: the same outline with another mark is another part.
    """
    leaders: dict[tuple[int, int, int], list[tuple[int, _Shape]]] = defaultdict(list)
    found: list[Same] = []
    keys = [_key(part) for part in parts]
    likely = _shared_neighbourhoods(keys)
    for index, part in enumerate(parts):
        if keys[index] not in likely:
            continue
        shape = _shape(part)
        near = [pair for key in _around(keys[index]) for pair in leaders.get(key, ())]
        near.sort(key=lambda pair: pair[0])
        match = next((same for first, other in near if (same := _same(index, shape, first, other))), None)
        if match is None:
            leaders[keys[index]].append((index, shape))
        else:
            found.append(match)
    return tuple(found)


def same_findings(parts: Sequence[Part]) -> list[Finding]:
    """Say which parts of one drawing are equal, a line for each shape."""
    groups: dict[int, list[Same]] = defaultdict(list)
    for same in same_parts(parts):
        groups[same.first].append(same)
    found = []
    for first, others in groups.items():
        numbers = ", ".join(f"{s.index + 1}{' (mirrored)' if s.mirrored else ''}" for s in others)
        text = f"parts {first + 1}, {numbers} are one shape: {len(others) + 1} pieces of {parts[first].name}"
        found.append(Finding(kind="equal parts", severity="note", message=text))
    return found


def _key(part: Part) -> tuple[int, int, int]:
    """A coarse key: equal parts differ by at most one in the first two places."""
    return (_step(part.area_mm2), _step(part.cut_length_mm), len(part.holes))


def _step(value: float) -> int:
    return round(100.0 * math.log(max(value, 1e-9)))


def _around(key: tuple[int, int, int]) -> list[tuple[int, int, int]]:
    return [(key[0] + i, key[1] + j, key[2]) for i in (-1, 0, 1) for j in (-1, 0, 1)]


def _shared_neighbourhoods(keys: Sequence[tuple[int, int, int]]) -> set[tuple[int, int, int]]:
    """Keys that have another part near, so that single parts need no shape."""
    counts: dict[tuple[int, int, int], int] = defaultdict(int)
    for key in keys:
        counts[key] += 1
    return {key for key in counts if sum(counts.get(k, 0) for k in _around(key)) > 1}


def _shape(part: Part) -> _Shape:
    whole = region(part.outer, part.holes, NESTING_CHORD_MM, "midway")
    polygon = whole if isinstance(whole, Polygon) else max(whole.geoms, key=lambda g: g.area)
    x, y = polygon.centroid.x, polygon.centroid.y
    polygon = affinity.translate(polygon, -x, -y)
    features: dict[tuple[str, int], list[Point]] = defaultdict(list)
    for hole in polygon.interiors:
        centre = Polygon(hole).centroid
        _add(features, "hole", (centre.x, centre.y))
    for contour in part.contours:
        for piece in contour.pieces:
            if not piece.closed:
                _add(features, "corner", (piece.start[0] - x, piece.start[1] - y))
    return _Shape(part, polygon, features)


def _add(features: dict[tuple[str, int], list[Point]], kind: str, point: Point) -> None:
    radius = math.hypot(*point)
    if radius > 10 * _APART_MM:
        features[kind, round(radius / (4 * _APART_MM))].append(point)


def _same(index: int, shape: _Shape, first: int, other: _Shape) -> Same | None:
    a, b = shape.part, other.part
    length = max(a.cut_length_mm, b.cut_length_mm)
    # Cheap and telling first; the contours themselves decide.
    if abs(a.area_mm2 - b.area_mm2) > _APART_MM * length or abs(a.cut_length_mm - b.cut_length_mm) > 1e-3 * length:
        return None
    if _rides(a) != _rides(b):
        return None
    for mirrored in (False, True):
        if _fits(shape, other, mirrored):
            return Same(index, first, mirrored)
    return None


def _rides(part: Part) -> tuple[object, ...]:
    marks = sorted((mark.kind, round(mark.curve.length_mm, 1)) for mark in part.marks)
    return (*marks, *sorted(text.text for text in part.texts))


def _fits(shape: _Shape, other: _Shape, mirrored: bool) -> bool:
    sign = -1.0 if mirrored else 1.0
    polygon = affinity.scale(shape.polygon, sign, 1.0, origin=(0.0, 0.0)) if mirrored else shape.polygon
    for turn in _turns(shape, other, sign):
        turned = affinity.rotate(polygon, turn, origin=(0.0, 0.0), use_radians=True)
        if max(abs(p - q) for p, q in zip(turned.bounds, other.polygon.bounds, strict=True)) > 2 * _APART_MM:
            continue
        if shapely.hausdorff_distance(turned.boundary, other.polygon.boundary) <= 2 * _APART_MM:
            return True
    return False


def _turns(shape: _Shape, other: _Shape, sign: float) -> list[float]:
    """Angles that lay one feature of the rarest kind on each of its like; 0 for a shape that is round all over."""
    if not shape.features:
        return [0.0]
    kind, radius = min(shape.features, key=lambda k: (len(shape.features[k]), -k[1]))
    x, y = shape.features[kind, radius][0]
    start = math.atan2(y, sign * x)
    meant = [p for k in (radius - 1, radius, radius + 1) for p in other.features.get((kind, k), ())]
    return [math.atan2(q[1], q[0]) - start for q in meant[:_MOST_TRIES]]
