"""Outlines from rendered pictures of known plates: how far they are off, and whether the stated bound holds.

.venv/bin/python tests/bench/photo.py markers --scenes 20 --width 4000 --seed 1
.venv/bin/python tests/bench/photo.py paper --scenes 20 --lens
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np
from shapely.geometry import box

sys.path[:0] = [str(Path(__file__).parents[1])]

from photo_scenes import Error, Paper, error, eye, odd_plate, paper_beside, papers_round, render  # noqa: E402

from nesting.errors import NestingError  # noqa: E402
from nesting.outline.photo.calibrate import calibrate  # noqa: E402
from nesting.outline.photo.lens import Lens  # noqa: E402
from nesting.outline.photo.photo import Ask, from_photo  # noqa: E402
from nesting.outline.photo.picture import read_picture  # noqa: E402


def calibrated(folder: Path, width: int) -> Lens:
    """The lens of the scenes, measured from ten rendered pictures of one marker sheet."""
    rng = np.random.default_rng(99)
    middle = np.array([0.004, -0.003]) * width
    paths = []
    for k in range(10):
        at = rng.uniform(-90, 90, 2)
        sheet = Paper(x=at[0] - 105, y=at[1] - 148, turn=rng.uniform(0, 6.28), number=0)
        view = eye(rng, width=width, look_at=np.zeros(2), height_mm=rng.uniform(480, 620), lean_deg=32, middle=middle)
        nowhere = box(5000, 5000, 5010, 5010)
        scene = render(rng, view, nowhere, thickness_mm=5, papers=[sheet], clutter=0)
        paths.append(folder / f"lens{k}.png")
        cv2.imwrite(str(paths[-1]), scene.picture)
    found = calibrate(paths)
    print("lens", found.document(), file=sys.stderr)
    return found.lens


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("marks", choices=("markers", "paper"))
    parser.add_argument("--scenes", type=int, default=10)
    parser.add_argument("--width", type=int, default=4000)
    parser.add_argument("--size", type=float, default=1200.0)
    parser.add_argument("--height", type=float, default=1750.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--lens", action="store_true", help="Calibrate the lens once, before.")
    parser.add_argument("--keep", type=Path, help="Folder that keeps the pictures.")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    rows: list[tuple[float, Error]] = []
    with tempfile.TemporaryDirectory() as made:
        folder = given.keep or Path(made)
        lens = calibrated(folder, given.width) if given.lens else None
        for seed in range(given.seed, given.seed + given.scenes):
            rng = np.random.default_rng(seed)
            plate = odd_plate(rng, given.size)
            x0, y0, x1, y1 = plate.bounds
            paper = given.marks == "paper"
            view = eye(
                rng,
                width=given.width,
                look_at=np.array([(x0 + x1) / 2, (y0 + y1) / 2 - 60 * paper]),
                height_mm=given.height,
                middle=np.array([0.004, -0.003]) * given.width,
            )
            papers = [paper_beside(rng, plate)] if paper else papers_round(rng, plate)
            thickness = float(rng.choice([4.0, 6.0, 8.0, 10.0, 12.0]))
            light = 0.65 if paper else 0.45
            scene = render(rng, view, plate, thickness_mm=thickness, papers=papers, shadow=light)
            path = folder / f"{given.marks}{seed}.jpg"
            cv2.imwrite(str(path), scene.picture, [cv2.IMWRITE_JPEG_QUALITY, 94])
            ask = Ask(thickness_mm=thickness, ruler_mm=None if paper else 180.0, sheet="A4" if paper else None)
            row: dict[str, object] = {"seed": seed, "thickness_mm": thickness}
            try:
                found = from_photo(read_picture(path), ask, lens)
                off = error(scene, found)
                bound = found.captured.uncertainty_mm
                rows.append((bound, off))
                holes = [len(found.captured.holes), len(plate.interiors)]
                row |= {"most": off.most, "worst": off.worst, "outside": off.outside, "bound": bound, "holes": holes}
            except NestingError as refused:
                row["refused"] = str(refused)
            print(json.dumps({k: round(v, 2) if isinstance(v, float) else v for k, v in row.items()}), flush=True)
    if rows:
        most = [off.most for _, off in rows]
        covered = [off.worst <= bound for bound, off in rows]
        told = {
            "scenes": given.scenes,
            "outlines": len(rows),
            "most_median": float(np.median(most)),
            "most_p95": float(np.percentile(most, 95)),
            "bound_median": float(np.median([b for b, _ in rows])),
            "covered": float(np.mean(covered)),
        }
        print(json.dumps({k: round(v, 3) for k, v in told.items()}))


if __name__ == "__main__":
    main()
