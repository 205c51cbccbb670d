"""Outlines from rendered pictures of known plates: how far they are off, and whether the stated bound holds.

.venv/bin/python tests/bench/photo.py markers --scenes 20 --width 4000 --seed 1
.venv/bin/python tests/bench/photo.py paper --scenes 20 --lens
.venv/bin/python tests/bench/photo.py markers --scenes 20 --marks-on plate

Every scene has a plate, camera, light, dirt and clutter of its own; what a shop reads is off as it would be: the print
or paper, and thickness.  --keep FOLDER keeps the pictures and takes them again.
"""

import argparse
import json
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from shapely.geometry import Polygon, box

sys.path[:0] = [str(Path(__file__).parents[1])]

from photo_scenes import (  # noqa: E402
    Error,
    Eye,
    Paper,
    Scene,
    error,
    eye,
    odd_plate,
    paper_beside,
    papers_on,
    papers_round,
    render,
)

from nesting.errors import NestingError  # noqa: E402
from nesting.outline.photo.calibrate import calibrate  # noqa: E402
from nesting.outline.photo.lens import Lens  # noqa: E402
from nesting.outline.photo.marks import Ask  # noqa: E402
from nesting.outline.photo.photo import from_photo  # noqa: E402
from nesting.outline.photo.picture import read_picture  # noqa: E402

BEND = (0.06, -0.05, 0.0)
FOCAL = 0.78
MIDDLE = np.array([0.004, -0.003])


@dataclass(frozen=True, kw_only=True)
class Told:
    """A picture on disk, what is true of it, and what the operator says."""

    path: Path
    scene: Scene
    ask: Ask


def calibrated(folder: Path, width: int) -> Lens:
    """The lens of the scenes, measured from ten rendered pictures of one marker sheet."""
    paths = []
    for k in range(10):
        rng = np.random.default_rng([99, k])
        at = rng.uniform(-90, 90, 2)
        sheet = Paper(x=at[0] - 105, y=at[1] - 148, turn=rng.uniform(0, 6.28), number=0)
        view = eye(
            rng,
            width=width,
            look_at=np.zeros(2),
            height_mm=rng.uniform(480, 620),
            lean_deg=32,
            middle=MIDDLE * width,
            focal=FOCAL,
            bend=BEND,
        )
        paths.append(folder / f"lens{width}-{k}.png")
        if not paths[-1].exists():
            nowhere = box(5000, 5000, 5010, 5010)
            scene = render(rng, view, nowhere, thickness_mm=5, papers=[sheet], clutter=0)
            cv2.imwrite(str(paths[-1]), scene.picture)
    found = calibrate(paths)
    print("lens", found.document(), file=sys.stderr)
    return found.lens


def camera(rng: np.random.Generator, plate: Polygon, given: argparse.Namespace) -> Eye:
    """Any telephone over the plate; the one that was calibrated for sheets of paper."""
    x0, y0, x1, y1 = plate.bounds
    paper = given.marks == "paper"
    return eye(
        rng,
        width=given.width,
        look_at=np.array([(x0 + x1) / 2, (y0 + y1) / 2 - 60 * paper]) + rng.uniform(-25, 25, 2),
        height_mm=given.height * rng.uniform(0.97, 1.1),
        lean_deg=15.0,
        focal=FOCAL if paper else rng.uniform(0.72, 0.8),
        bend=BEND if paper else (rng.uniform(-0.05, 0.1), rng.uniform(-0.08, 0.04), 0.0),
        middle=MIDDLE * given.width if paper else None,
    )


def scene_of(seed: int, given: argparse.Namespace, folder: Path) -> Told:
    """The scene of a seed, rendered unless its picture is there."""
    rng = np.random.default_rng(seed)
    plate = odd_plate(rng, given.size)
    view = camera(rng, plate, given)
    thickness = float(rng.choice([3.0, 4.0, 6.0, 8.0, 10.0, 12.0]))
    if given.marks == "paper":
        papers = [paper_beside(rng, plate)]
        true = np.array([297.0, 210.0]) + rng.normal(0.0, 0.1, 2)
        papers = [replace(papers[0], stretch=tuple(true / [297.0, 210.0]))]
        ask = Ask(thickness_mm=thickness, sheet="A4", sheet_mm=(210.0, 297.0))
    else:
        papers = papers_on(rng, plate) if given.marks_on == "plate" else papers_round(rng, plate)
        print_mm = 1 + rng.normal(0.0, 5e-4)
        papers = [replace(p, stretch=(print_mm, print_mm)) for p in papers]
        ask = Ask(
            thickness_mm=None if given.marks_on == "plate" else thickness, ruler_mm=180.0, marks_on=given.marks_on
        )
    made = {
        "shadow": rng.uniform(0.65, 1.0) if given.marks == "paper" else rng.uniform(0.45, 1.0),
        "steel": str(rng.choice(["rust", "rust", "scale"])),
        "noise_levels": rng.uniform(2.0, 5.0),
        "blur_px": rng.uniform(0.5, 1.1),
        "clutter": int(rng.integers(3, 9)),
        "floor": tuple(rng.uniform(135, 175) * np.array([0.97, 1.0, 1.02]) * (1 + rng.uniform(-0.02, 0.02, 3))),
    }
    true_mm = thickness + rng.normal(0.0, 0.3)
    path = folder / f"{given.marks}-{given.marks_on}-{given.width}-{given.size:.0f}-{seed}.jpg"
    if path.exists():
        scene = Scene(picture=cv2.imread(str(path)), eye=view, plate=plate, thickness_mm=true_mm, papers=papers)
    else:
        scene = render(
            rng, view, plate, thickness_mm=true_mm, papers=papers, on_plate=given.marks_on == "plate", **made
        )
        cv2.imwrite(str(path), scene.picture, [cv2.IMWRITE_JPEG_QUALITY, 94])
    return Told(path=path, scene=scene, ask=ask)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("marks", choices=("markers", "paper"))
    parser.add_argument("--marks-on", choices=("floor", "plate"), default="floor")
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
    refused = holes_right = 0
    with tempfile.TemporaryDirectory() as made:
        folder = given.keep or Path(made)
        folder.mkdir(exist_ok=True)
        lens = calibrated(folder, given.width) if given.lens else None
        for seed in range(given.seed, given.seed + given.scenes):
            told = scene_of(seed, given, folder)
            row: dict[str, object] = {"seed": seed, "thickness_mm": told.ask.thickness_mm}
            try:
                found = from_photo(read_picture(told.path), told.ask, lens)
                off = error(told.scene, found)
                bound = found.captured.uncertainty_mm
                rows.append((bound, off))
                holes = [len(found.captured.holes), len(told.scene.plate.interiors)]
                holes_right += holes[0] == holes[1]
                row |= {"most": off.most, "worst": off.worst, "outside": off.outside, "bound": bound, "holes": holes}
                row |= {"held": off.worst <= bound, "basis": found.captured.basis.split("; ")[1]}
            except NestingError as error_told:
                refused += 1
                row["refused"] = str(error_told)
            print(json.dumps({k: round(v, 2) if isinstance(v, float) else v for k, v in row.items()}), flush=True)
    if rows:
        most = [off.most for _, off in rows]
        total = {
            "scenes": given.scenes,
            "outlines": len(rows),
            "refused": refused,
            "holes_right": holes_right,
            "most_median": float(np.median(most)),
            "most_p95": float(np.percentile(most, 95)),
            "worst_median": float(np.median([off.worst for _, off in rows])),
            "worst_max": max(off.worst for _, off in rows),
            "bound_median": float(np.median([b for b, _ in rows])),
            "held": sum(off.worst <= bound for bound, off in rows),
        }
        print(json.dumps({k: round(v, 3) for k, v in total.items()}))


if __name__ == "__main__":
    main()
