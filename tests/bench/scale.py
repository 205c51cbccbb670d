"""How time, utilisation and memory grow with the number of parts; prints one table.

    python tests/bench/scale.py --counts 50,200,1000,3000

One mix of eight sheet-metal shapes of an invented shop (plates, discs, rings, angles, gussets, channels, slotted and
notched pieces; any turn) on a rectangular plate, 8 : 5, of their area / 0.75.  No gap and no margin.  Each count runs
in a process of its own, so that peak memory is its own; the clock stops when every part has a place.
"""

import argparse
import json
import math
import resource
import subprocess
import sys

import numpy as np
import shapely
from packing import warm_up
from shapely.geometry import Point, Polygon

from nesting.search.crew import Crew
from nesting.search.fill import Fill
from nesting.search.problem import Kind, Problem, worst_overlap


def mix() -> list[Polygon]:
    """The eight shapes, millimetres."""
    disc = Point(0, 0).buffer(40, quad_segs=12)
    return [
        shapely.box(0, 0, 120, 60),
        disc,
        Point(0, 0).buffer(75, quad_segs=16).difference(Point(0, 0).buffer(50, quad_segs=16)),
        Polygon([(0, 0), (140, 0), (140, 30), (30, 30), (30, 110), (0, 110)]),
        Polygon([(0, 0), (90, 0), (0, 70)]),
        Polygon([(0, 0), (150, 0), (150, 80), (125, 80), (125, 25), (25, 25), (25, 80), (0, 80)]),
        shapely.box(0, 0, 160, 45).union(Point(160, 22.5).buffer(22.5, quad_segs=10)),
        shapely.box(0, 0, 70, 70).difference(Point(70, 70).buffer(30, quad_segs=10)),
    ]


def run(count: int, seconds: float, seed: int, threads: int) -> dict[str, float]:
    """Lay out `count` parts; seconds are infinite if some found no place in time."""
    shapes = mix()
    kinds = [Kind(polygon=p, turns=None, most=(count + i) // len(shapes), worth=p.area) for i, p in enumerate(shapes)]
    area = sum(k.polygon.area * (k.most or 0) for k in kinds)
    width = math.sqrt(area / 0.75 * 8 / 5)
    plate = shapely.box(0, 0, width, width * 5 / 8)
    warm_up(kinds)
    problem = Problem(kinds, plate)
    crew = Crew(seed=seed, seconds=seconds, steps=None, threads=threads)
    fill = Fill(problem, crew)
    crew.run(fill.greedy, seconds)
    greedy_s = crew.elapsed
    assert crew.best is not None
    greedy = crew.best.score[0] / plate.area
    if not fill.complete():
        crew.run(fill.improve, seconds)
    polygons = problem.placed_polygons(crew.best.poses)
    return {
        "parts": count,
        "placed": len(polygons),
        "greedy_seconds": greedy_s,
        "greedy_percent": 100 * greedy,
        "seconds": crew.elapsed,
        "percent": 100 * float(np.sum([p.area for p in polygons])) / plate.area,
        "peak_MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "worst_overlap": worst_overlap(polygons),
    }


def main() -> None:
    """Read the arguments, run each count apart and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--counts", default="50,200,1000,3000")
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--one", type=int, help="only this count, in this process, as JSON")
    o = parser.parse_args()
    if o.one:
        print(json.dumps(run(o.one, o.seconds, o.seed, o.threads)))
        return
    print("| parts | placed | greedy s | greedy % | all s | % of plate | peak MB |\n" + "| --- " * 7 + "|")
    for count in map(int, o.counts.split(",")):
        line = subprocess.run(
            [sys.executable, __file__, "--one", str(count), "--seconds", str(o.seconds), "--seed", str(o.seed),
             "--threads", str(o.threads)],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        d = json.loads(line.splitlines()[-1])
        print(
            f"| {d['parts']} | {d['placed']} | {d['greedy_seconds']:.1f} | {d['greedy_percent']:.1f} "
            f"| {d['seconds']:.1f} | {d['percent']:.2f} | {d['peak_MB']:.0f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
