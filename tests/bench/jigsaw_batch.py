"""An order with a known best plan: parts cut from three known odd pieces, with other pieces on the rack.

    python tests/bench/jigsaw_batch.py --seconds 60 --seeds 10

Three odd pieces are cut apart by random straight cuts, and every part loses the same rim: the parts fill 85 % of
their pieces (`--fill`): the known plan leaves a little room, as a kerf and a gap would.  Parts may be turned to any
angle, and are turned at random before.  The other pieces are such that no other set of pieces that has enough area for
the parts at all has less area than the three: the known plan is the best there is.  Found: everything has a place on
those three.
"""

import argparse
import os
import time
from itertools import combinations

import numpy as np
import shapely
from shapely.affinity import rotate
from shapely.geometry import LineString, Polygon
from shapely.ops import split

from nesting.batch.plan import PlanProgress, plan
from nesting.batch.stock import Batch, Line, StockPiece
from nesting.check import check_layout
from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.geometry.contour import Contour
from nesting.part import Part
from nesting.plate import Plate

NO_ROOM = Clearances(kerf_mm=0.0, gap_mm=0.0, margin_mm=0.0)
PIECES, DECOYS = 3, 6


def odd_piece(rng: np.random.Generator, size: float) -> Polygon:
    """A plate with a sheared corner or two and perhaps a bite out of an edge."""
    width, height = size * rng.uniform(0.9, 1.5), size * rng.uniform(0.6, 1.0)
    piece = shapely.box(0, 0, width, height)
    for corner in rng.permutation([(0, 0), (width, 0), (width, height), (0, height)])[: rng.integers(1, 3)]:
        x, y = corner
        dx, dy = width * rng.uniform(0.15, 0.4), height * rng.uniform(0.15, 0.4)
        inward = (x + (dx if x == 0 else -dx), y), (x, y + (dy if y == 0 else -dy))
        piece = piece.difference(Polygon([(x, y), *inward]))
    if rng.random() < 0.5:
        a, b = width * rng.uniform(0.3, 0.5), width * rng.uniform(0.1, 0.2)
        piece = piece.difference(shapely.box(a, 0, a + b, height * rng.uniform(0.1, 0.25)))
    return max(shapely.get_parts(piece), key=lambda p: p.area)


def cut_apart(piece: Polygon, count: int, rng: np.random.Generator) -> list[Polygon]:
    """Cut the largest part in two, by a line through about its middle, until there are so many."""
    parts = [piece]
    while len(parts) < count:
        largest = max(parts, key=lambda p: p.area)
        middle = np.array(largest.centroid.coords[0])
        reach = np.sqrt(largest.area)
        through = middle + rng.normal(0, 0.08 * reach, 2)
        angle = rng.uniform(0, np.pi)
        along = 10 * reach * np.array([np.cos(angle), np.sin(angle)])
        halves = [p for p in split(largest, LineString([through - along, through + along])).geoms if p.area > 0]
        slim = any(shapely.maximum_inscribed_circle(h).length < 0.12 * reach for h in halves)
        if len(halves) != 2 or slim:
            continue
        parts.remove(largest)
        parts += halves
    return parts


def trimmed(parts: list[Polygon], fill: float, area: float) -> list[Polygon]:
    """Take the same rim off every part, so wide that together they fill that share of an area."""
    low, high = 0.0, 50.0
    for _ in range(40):
        rim = (low + high) / 2
        left = sum(p.buffer(-rim, join_style="mitre").area for p in parts)
        low, high = (rim, high) if left > fill * area else (low, rim)
    return [max(shapely.get_parts(p.buffer(-low, join_style="mitre")), key=lambda q: q.area) for p in parts]


def order(seed: int, fill: float, parts_each: tuple[int, int]) -> tuple[Batch, float, set[str]]:
    """Return an order, the area of the known pieces and their names."""
    rng = np.random.default_rng(seed)
    known = [odd_piece(rng, 500.0) for _ in range(PIECES)]
    parts: list[Polygon] = []
    for piece in known:
        parts += trimmed(cut_apart(piece, int(rng.integers(*parts_each)), rng), fill, piece.area)
    wanted, best = sum(p.area for p in parts), sum(p.area for p in known)
    decoys = others(rng, known, wanted, best)
    places = rng.permutation(len(known) + len(decoys))
    pieces = [(f"piece {n}", ([*known, *decoys])[i]) for n, i in enumerate(places)]
    names = {name for (name, _), i in zip(pieces, places, strict=True) if i < PIECES}
    lines = [
        Line(demand=Demand(part=Part(id=f"part {n}", name=f"part {n}", outer=turned(p, rng)), quantity=1))
        for n, p in enumerate(parts)
    ]
    stock = [StockPiece(id=n, plate=Plate(name=n, outer=contour(p)), clearances=NO_ROOM) for n, p in pieces]
    return Batch(lines=tuple(lines), pieces=tuple(stock)), best, names


def others(rng: np.random.Generator, known: list[Polygon], wanted: float, best: float) -> list[Polygon]:
    """Pieces beside which the known ones stay the best: no other set has area from `wanted` to a little over `best`."""
    found: list[Polygon] = []
    while len(found) < DECOYS:
        found.append(odd_piece(rng, 500.0 * rng.uniform(0.5, 1.3)))
        areas = [p.area for p in [*known, *found]]
        sets = (s for n in range(1, len(areas) + 1) for s in combinations(range(len(areas)), n))
        if any(wanted <= sum(areas[i] for i in s) <= 1.002 * best for s in sets if s != tuple(range(PIECES))):
            found.pop()
    return found


def contour(polygon: Polygon) -> Contour:
    """Return an outline as a contour."""
    return Contour.of_points(list(polygon.exterior.coords)[:-1])


def turned(polygon: Polygon, rng: np.random.Generator) -> Contour:
    """The outline at a random turn."""
    return contour(rotate(polygon, rng.uniform(0, 360)))


def main() -> None:
    """Print a line for each seed, and how many were found."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--fill", type=float, default=0.85)
    parser.add_argument("--parts-each", type=int, nargs=2, default=(3, 5), metavar=("FROM", "BELOW"))
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    o = parser.parse_args()
    print("| seed | parts | pieces on the rack | found after s | opened / known best | parts without a place |")
    print("| --- | --- | --- | --- | --- | --- |")
    found = 0
    for seed in range(o.first, o.first + o.seeds):
        batch, best, names = order(seed, o.fill, tuple(o.parts_each))
        begun, reached = time.monotonic(), [float("nan")]
        wanted = len(batch.lines)

        def watch(
            seen: PlanProgress, wanted: int = wanted, best: float = best, reached: list[float] = reached,
            begun: float = begun,
        ) -> None:  # fmt: skip
            if reached[0] != reached[0] and seen.made == wanted and seen.worth <= best * (1 + 1e-9):
                reached[0] = time.monotonic() - begun

        planned = plan(
            batch, seconds=o.seconds, workers=o.workers, on_progress=watch,
            should_stop=lambda reached=reached: reached[0] == reached[0],
        )  # fmt: skip
        group = planned.groups[0]
        assert all(check_layout(c.layout).passed for c in group.columns)
        there = {batch.pieces[p].id for p in group.pieces}
        is_found = not group.short and there == names
        found += is_found
        after = f"{reached[0]:.0f}" if is_found else "not found"
        print(
            f"| {seed} | {wanted} | {len(batch.pieces)} | {after} | {group.worth / best:.3f} | "
            f"{sum(group.short.values())} |", flush=True,
        )  # fmt: skip
    print(f"\nfound {found} of {o.seeds} within {o.seconds:.0f} s, {o.workers} processes, fill {o.fill:.0%}")


if __name__ == "__main__":
    main()
