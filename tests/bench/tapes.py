"""How often a misread tape is named right, and how true the stated deviations are: a table over odd plates.

Not a test: `python tests/bench/tapes.py --plates 20 --trials 50` prints one line of JSON for each way to choose
the spare diagonals.  Every plate has seven corners, held by its edges and four diagonals; five more are spare.
"""

import argparse
import json
import math
from collections.abc import Callable, Sequence
from itertools import combinations

import numpy as np

from nesting.errors import InputError
from nesting.outline.pasted import Pasted
from nesting.outline.sides import dents_of
from nesting.outline.spares import next_tapes
from nesting.outline.taped import Said
from nesting.outline.tapes import from_tapes

CORNERS, SPARE, BLUNDER_MM = 7, 5, 20.0
LETTERS = "ABCDEFG"
Pair = tuple[int, int]
EDGES: list[Pair] = [(k, (k + 1) % CORNERS) for k in range(CORNERS)]


def plate(rng: np.random.Generator) -> np.ndarray:
    """Seven corners, about 1.2 m wide, some pointing inwards."""
    angles = 2 * math.pi * (np.arange(CORNERS) + rng.uniform(-0.3, 0.3, CORNERS)) / CORNERS
    radii = rng.uniform(350.0, 750.0, CORNERS)
    corners: np.ndarray = radii[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])
    return corners


def others(taken: Sequence[Pair]) -> list[Pair]:
    """Pairs of corners that are not taped yet."""
    have = {tuple(sorted(p)) for p in taken}
    return [p for p in combinations(range(CORNERS), 2) if p not in have]


def by_tool(points: np.ndarray, rng: np.random.Generator) -> list[Pair]:
    """Diagonals that hold the plate, then the spare ones, both as the tool proposes them."""
    held = [*EDGES, *next_tapes(points, EDGES, 2 * CORNERS - 3 - CORNERS, others(EDGES))]
    return [*held, *next_tapes(points, held, SPARE, others(held))]


def by_chance(points: np.ndarray, rng: np.random.Generator) -> list[Pair]:
    """The same that hold it, and any five spare ones."""
    held = [*EDGES, *next_tapes(points, EDGES, 2 * CORNERS - 3 - CORNERS, others(EDGES))]
    free = others(held)
    return [*held, *(free[k] for k in rng.choice(len(free), SPARE, replace=False))]


def measured(choose: Callable[..., list[Pair]], plates: int, trials: int, seed: int) -> dict[str, object]:
    """Share of blunders named right, asked about or refused, and stated deviation over scatter."""
    rng = np.random.default_rng(seed)
    named = asked = 0
    ratios: list[float] = []
    for _ in range(plates):
        points = plate(rng)
        pairs = choose(points, rng)
        said = Said(dents=tuple(LETTERS[k] for k in dents_of(points, range(CORNERS))))
        places, stated = [], []
        for _ in range(trials):
            errors = rng.normal(0.0, 1.0, len(pairs))
            found = _adjusted(points, pairs, errors, said)
            if found is not None:
                places.append([(c["x_mm"], c["y_mm"]) for c in found["corners"]])
                stated.append([(c["sd_x_mm"], c["sd_y_mm"]) for c in found["corners"]])
            wrong = int(rng.integers(len(pairs)))
            errors[wrong] += rng.choice([-BLUNDER_MM, BLUNDER_MM])
            found = _adjusted(points, pairs, errors, said)
            asked += found is None
            named += found is not None and [s["line"] for s in found["suspects"][:1]] == [wrong + 1]
        scatter, mean = np.std(places, axis=0).ravel(), np.mean(stated, axis=0).ravel()
        ratios.append(float(np.median((scatter / np.maximum(mean, 1e-9))[mean > 0.0])))
    total = plates * trials
    return {
        "choice": choose.__name__,
        "trials": total,
        "named_right": round(named / total, 4),
        "asked_or_refused": round(asked / total, 4),
        "scatter_over_stated": [round(min(ratios), 3), round(float(np.median(ratios)), 3), round(max(ratios), 3)],
        "seed": seed,
    }


def _adjusted(points: np.ndarray, pairs: Sequence[Pair], errors: np.ndarray, said: Said) -> dict[str, list] | None:
    lines = [
        f"{LETTERS[i]},{LETTERS[j]},{math.dist(points[i], points[j]) + e:.5f}"
        for (i, j), e in zip(pairs, errors, strict=True)
    ]
    try:
        return from_tapes(Pasted(name="trial", text="\n".join(lines)), said=said, spares=0)[0].figures
    except InputError:
        return None


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plates", type=int, default=20)
    parser.add_argument("--trials", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    for choose in (by_tool, by_chance):
        print(json.dumps(measured(choose, args.plates, args.trials, args.seed)))


if __name__ == "__main__":
    main()
