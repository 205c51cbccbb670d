"""How true the stated uncertainty of turn and shift is, and whether swapped names and flipped plates are caught.

Not a test: `python tests/bench/settle.py --plates 1000` prints a line of JSON for each trial.  Plates are odd, 4 to 10
corners, some pointing inwards, about a metre wide; one in ten is symmetric (a rectangle, a kite, a parallelogram), one
in ten nearly so.  Three corners well off one line are read out with 0.5 mm of scatter in x and in y, and the plate lies
anywhere, turned by anything.
"""

import argparse
import json
import math
from collections import Counter
from collections.abc import Sequence
from itertools import combinations
from typing import Final

import numpy as np

from nesting.corner_names import named_corners
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.outline.bounds import factor
from nesting.plate import Plate
from nesting.settle.reading import Reading
from nesting.settle.rigid import off_line_mm
from nesting.settle.settling import Settled, settle

SIGMA_MM: Final = 0.5
WELL_OFF_MM: Final = 100.0
Floats = np.ndarray


def odd_plate(rng: np.random.Generator) -> Plate:
    """A plate of straight edges; every tenth fits itself turned or flipped, every tenth is off that by millimetres."""
    share = rng.random()
    if share < 0.2:
        corners = _symmetric(rng)
        return _plate(corners if share < 0.1 else corners + rng.normal(0.0, rng.uniform(0.0, 3.0), corners.shape))
    count = int(rng.integers(4, 11))
    angles = 2 * math.pi * (np.arange(count) + rng.uniform(-0.3, 0.3, count)) / count
    radii = rng.uniform(300.0, 800.0, count)
    return _plate(radii[:, None] * np.column_stack([np.cos(angles), np.sin(angles)]))


def _symmetric(rng: np.random.Generator) -> Floats:
    a, b, c = rng.uniform(250.0, 700.0, 3)
    lean = rng.uniform(-200.0, 200.0)
    shapes = (
        [(-a, -b), (a, -b), (a, b), (-a, b)],
        [(0, -a), (b, 0), (0, c), (-b, 0)],
        [(-a - lean, -b), (a - lean, -b), (a + lean, b), (-a + lean, b)],
    )
    return np.array(shapes[int(rng.integers(len(shapes)))], dtype=np.float64)


def _plate(corners: Floats) -> Plate:
    return Plate(name="odd", outer=Contour.of_points(corners))


def well_off(points: Floats, rng: np.random.Generator, count: int = 3) -> tuple[int, ...] | None:
    """Some corners that lie well off one line and well apart, None if the plate has none."""
    chosen = [
        c
        for c in combinations(range(len(points)), count)
        if off_line_mm(points[list(c)]) > WELL_OFF_MM
        and min(math.dist(points[i], points[j]) for i, j in combinations(c, 2)) > WELL_OFF_MM
    ]
    return chosen[int(rng.integers(len(chosen)))] if chosen else None


def lies(rng: np.random.Generator, *, flipped: bool = False) -> Pose:
    """Anywhere on a table."""
    x, y = rng.uniform(0.0, 3000.0, 2)
    return Pose(flipped=flipped, turn_deg=float(rng.uniform(0.0, 360.0)), x_mm=float(x), y_mm=float(y))


def readings(plate: Plate, named: Sequence[int], places: Floats) -> list[Reading]:
    """Readouts at `places`, called by the names of the corners of these numbers."""
    corners = named_corners(plate)
    return [
        Reading(name=corners[k].name, stored=corners[k].point, at=(float(x), float(y)))
        for k, (x, y) in zip(named, places, strict=True)
    ]


def read_out(plate: Plate, taken: Sequence[int], pose: Pose, rng: np.random.Generator) -> Floats:
    """Where the machine stood over corners, within its scatter."""
    points = np.array([c.point for c in named_corners(plate)])[list(taken)]
    return pose.points(points) + rng.normal(0.0, SIGMA_MM, (len(taken), 2))


def mistaken(plate: Plate, kind: str, rng: np.random.Generator) -> tuple[Settled, bool] | None:
    """Settle with a mistake of a kind; None where no corners lie well off a line.

    `none`; `swapped`: two names exchanged; `flipped`: wrong side up, corners called as they are; `renamed`: wrong side
    up, corners called counter-clockwise as the plate then lies.  With it, whether the mistake goes unseen: the readouts
    fit, and what is true is not named as a symmetry.
    """
    points = np.array([c.point for c in named_corners(plate)])
    named = well_off(points, rng)
    if named is None:
        return None
    flipped = kind in ("flipped", "renamed")
    true = list(named)
    if kind == "swapped":
        i, j = rng.choice(len(true), 2, replace=False)
        true[i], true[j] = true[j], true[i]
    elif kind == "renamed":
        over = Pose(flipped=True)
        back = named_corners(Plate(name="over", outer=plate.outer.posed(over)))
        true = [int(np.hypot(*(over.points(points) - back[k].point).T).argmin()) for k in named]
    places = read_out(plate, true, lies(rng, flipped=flipped), rng)
    found = settle(plate, readings(plate, named, places), sigma_mm=SIGMA_MM)
    told = any(r.corners == tuple(true) and r.mirrored == flipped for r in found.symmetries)
    return found, found.verdict == "fits" and kind != "none" and not told


def caught(kind: str, plates: int, seed: int) -> dict[str, object]:
    """How a mistake was told on so many plates; `unseen` are those that passed silently."""
    rng = np.random.default_rng(seed)
    told: Counter[str] = Counter()
    tried = explained = missed = 0
    while tried < plates:
        settled = mistaken(odd_plate(rng), kind, rng)
        if settled is None:
            continue
        found, unseen = settled
        tried += 1
        missed += unseen
        symmetric = found.verdict == "fits" and bool(found.symmetries)
        told["symmetric" if symmetric else found.verdict] += 1
        explained += bool(found.explained)
    return {"mistake": kind, "plates": tried, **told, "explained": explained, "unseen": missed, "seed": seed}


def scatter(corners: int, trials: int, seed: int, *, uncertainty_mm: float = 0.0) -> dict[str, object]:
    """Scatter of turn and of the farthest corner over what was stated, plate after plate, and how often bounds held.

    With an uncertainty the plate's own corners scatter too, as its bound says.
    """
    rng = np.random.default_rng(seed)
    turns, places, inside, total = [], [], [], []
    for _ in range(trials):
        stored = odd_plate(rng)
        points = np.array([c.point for c in named_corners(stored)])
        taken = well_off(points, rng, corners) if corners > 2 else (0, int(rng.integers(1, len(points))))
        if taken is None or max(math.dist(points[i], points[j]) for i, j in combinations(taken, 2)) < WELL_OFF_MM:
            continue
        known = Plate(name="odd", outer=stored.outer, uncertainty_mm=uncertainty_mm)
        outline_sd = uncertainty_mm / factor(len(points))
        true = points + rng.normal(0.0, outline_sd, points.shape)
        pose = lies(rng)
        at = pose.points(true[list(taken)]) + rng.normal(0.0, SIGMA_MM, (len(taken), 2))
        found = settle(known, readings(known, taken, at), sigma_mm=SIGMA_MM)
        if found.verdict == "does not fit":
            continue
        turns.append(math.remainder(found.pose.turn_deg - pose.turn_deg, 360.0) / found.spread.turn_sd_deg)
        sds = found.spread.sd_mm(points)
        k = int(sds.argmax())
        off = found.pose.points(points) - pose.points(points)
        # Along the direction square to the arm, where it scatters most.
        arm = pose.vector(tuple(points[k] - found.spread.middle))
        across = np.array([-arm[1], arm[0]]) / math.hypot(*arm)
        places.append(float(off[k] @ across) / sds[k])
        inside.append(bool((np.hypot(*off.T) <= found.spread.bound_mm(points)).all()))
        bound = math.hypot(uncertainty_mm, float(found.spread.bound_mm(points).max()))
        wrong = found.pose.points(points) - pose.points(true)
        total.append(bool(np.hypot(*wrong.T).max() <= bound))
    return {
        "corners": corners,
        "uncertainty_mm": uncertainty_mm,
        "trials": len(turns),
        "turn_scatter_over_stated": round(float(np.std(turns)), 4),
        "farthest_scatter_over_stated": round(float(np.std(places)), 4),
        "all_corners_within_bound": round(float(np.mean(inside)), 4),
        "with_outline_within_bound": round(float(np.mean(total)), 4),
        "seed": seed,
    }


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plates", type=int, default=1000)
    parser.add_argument("--trials", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    for kind in ("none", "swapped", "flipped", "renamed"):
        print(json.dumps(caught(kind, args.plates, args.seed)))
    for corners in (2, 3, 4):
        for uncertainty_mm in (0.0, 3.0):
            print(json.dumps(scatter(corners, args.trials, args.seed, uncertainty_mm=uncertainty_mm)))


if __name__ == "__main__":
    main()
