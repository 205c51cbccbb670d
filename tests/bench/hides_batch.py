"""All parts of an instance with odd plates on as little plate as possible; beside it the plain way.

    python tests/bench/hides_batch.py ../shared/benchmarks/hides1.json ../shared/benchmarks/hides7.json --seconds 600

Plain: the largest plate first, filled with what it takes, then the next largest with the rest, and so on; the time is
shared evenly by the plates that it opens (as many as the parts' area needs at 80 %, each later one by what is left).
The plan has the same time.  Compared in this order: part area left over, plate area opened, largest drop kept (the
largest piece that is free on any of the plates), plates used.  No gap, no margin.  Bound: the smallest area of whole
plates that the bounds on what each could take allow.
"""

import argparse
import json
import math
import os
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import shapely
from shapely.geometry import LinearRing, Polygon

from nesting.batch.plan import plan
from nesting.batch.stock import Batch, Line, StockPiece
from nesting.check import check_layout
from nesting.clearances import Clearances
from nesting.demand import Demand, Turns
from nesting.geometry.contour import Contour
from nesting.layout import Layout
from nesting.part import Part
from nesting.plate import Plate
from nesting.search.engine import load_kernels, search
from nesting.search.rest import free_rest

NO_ROOM = Clearances(kerf_mm=0.0, gap_mm=0.0, margin_mm=0.0)
USUAL = 0.8


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What is compared, in this order; areas in units of the file."""

    left_over: float
    opened: float
    drop: float
    plates: int

    def beats(self, other: "Outcome") -> bool:
        """True if better at the first figure that differs."""
        return (self.left_over, self.opened, -self.drop, self.plates) < (
            other.left_over, other.opened, -other.drop, other.plates,
        )  # fmt: skip


def clean(shape: dict[str, Any]) -> Polygon:
    """Return an outline with its holes; one that crosses itself is cleaned."""
    polygon = Polygon(shape["outline"], shape.get("holes", []))
    return polygon if polygon.is_valid else max(shapely.get_parts(polygon.buffer(0)), key=lambda p: p.area)


def contour(ring: LinearRing) -> Contour:
    """Return a ring as a contour."""
    return Contour.of_points(list(ring.coords)[:-1])


def read(path: Path) -> Batch:
    """Return an instance as a batch."""
    data = json.loads(path.read_text(encoding="utf-8"))
    lines = []
    for i, entry in enumerate(data["parts"]):
        body = clean(entry)
        part = Part(
            id=f"part {i}", name=f"part {i}", outer=contour(body.exterior),
            holes=tuple(contour(r) for r in body.interiors),
        )  # fmt: skip
        angles = entry["rotations"]
        turns = Turns() if angles == "any" else Turns(rule="listed", angles_deg=tuple(map(float, angles)))
        lines.append(Line(demand=Demand(part=part, quantity=entry["qty"], turns=turns)))
    pieces = []
    for i, entry in enumerate(data["plates"]):
        body = clean(entry)
        outline, holes = contour(body.exterior), tuple(contour(r) for r in body.interiors)
        plate = Plate(name=f"plate {i}", outer=outline, holes=holes)
        pieces.append(StockPiece(id=f"plate {i}", plate=plate, clearances=NO_ROOM))
    return Batch(lines=tuple(lines), pieces=tuple(pieces))


def plain(batch: Batch, seconds: float, seed: int, threads: int) -> list[Layout]:
    """Fill the largest plate, then the next with what is left."""
    begun, layouts = time.monotonic(), []
    left = [line.demand for line in batch.lines]
    for piece in sorted(batch.pieces, key=lambda p: -p.plate.area_mm2):
        if not left:
            break
        area = sum(d.part.area_mm2 * (d.quantity or 0) for d in left)
        plates = min(len(batch.pieces) - len(layouts), math.ceil(area / (USUAL * piece.plate.area_mm2)))
        share = max(1.0, (seconds - (time.monotonic() - begun)) / plates)
        layout = search(piece.plate, left, NO_ROOM, seed=seed, time_limit_s=share, threads=threads)
        placed = Counter(p.part_id for p in layout.placements)
        rest = [(d, (d.quantity or 0) - placed[d.part.id]) for d in left]
        left = [replace(d, quantity=n) for d, n in rest if n > 0]
        layouts.append(layout)
    return [layout for layout in layouts if layout.placements]


def planned(batch: Batch, seconds: float, seed: int, workers: int) -> tuple[list[Layout], float]:
    """Plan it; return the layouts and the bound."""
    found = plan(batch, seconds=seconds, seed=seed, workers=workers)
    return [c.layout for group in found.groups for c in group.columns], found.least_worth


def outcome(batch: Batch, layouts: Sequence[Layout]) -> Outcome:
    """Measure what is compared; refuse layouts that the check refuses, or that make more than is wanted."""
    made = Counter(p.part_id for layout in layouts for p in layout.placements)
    assert all(check_layout(replace(x, left_over=x.left_over)).passed for x in layouts)
    assert all(made[line.id] <= line.quantity for line in batch.lines)
    left = sum(line.demand.part.area_mm2 * (line.quantity - made[line.id]) for line in batch.lines)
    drops = [
        max((p.area for p in shapely.get_parts(free_rest(x.plate, x.parts, x.placements, NO_ROOM))), default=0.0)
        for x in layouts
    ]
    return Outcome(
        left_over=round(left, 3), opened=round(sum(x.plate.area_mm2 for x in layouts), 3),
        drop=round(max(drops, default=0.0), 3), plates=len(layouts),
    )  # fmt: skip


def used(layout: Layout) -> float:
    """Share of a plate that its parts are."""
    return sum(layout.parts[p.part_id].area_mm2 for p in layout.placements) / layout.plate.area_mm2


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("instances", nargs="+", type=Path)
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", choices=["plain", "plan"])
    o = parser.parse_args()
    load_kernels()
    print("| instance | way | left over | opened | largest drop | plates | least opened (bound) | seconds | mean use |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for path in o.instances:
        batch, results = read(path), {}
        for way in ("plain", "plan"):
            if o.only not in (None, way):
                continue
            begun, bound = time.monotonic(), 0.0
            if way == "plain":
                layouts = plain(batch, o.seconds, o.seed, o.workers)
            else:
                layouts, bound = planned(batch, o.seconds, o.seed, o.workers)
            seconds = time.monotonic() - begun
            found = results[way] = outcome(batch, layouts)
            row = (
                path.stem, way, f"{found.left_over:.0f}", f"{found.opened:.0f}", f"{found.drop:.0f}", found.plates,
                f"{bound:.0f}" if bound else "-", f"{seconds:.0f}",
                f"{sum(used(x) * x.plate.area_mm2 for x in layouts) / found.opened:.2%}",
            )  # fmt: skip
            print("| " + " | ".join(map(str, row)) + " |", flush=True)
        if len(results) == 2:
            better, equal = results["plan"].beats(results["plain"]), results["plan"] == results["plain"]
            print(f"| {path.stem} | plan is {'better' if better else 'equal' if equal else 'WORSE'} | | | | | | | |")


if __name__ == "__main__":
    main()
