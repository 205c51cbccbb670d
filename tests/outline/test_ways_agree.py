"""Every way in, given the same true plate, yields the same outline within its stated uncertainty."""

import math
from collections.abc import Callable
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
from photo_scenes import Scene
from photo_scenes import error as photo_error

from nesting.drawing.plate_writer import write_plates
from nesting.outline.captured import Captured
from nesting.outline.corners import from_corners
from nesting.outline.drawn import from_drawing
from nesting.outline.offsets import from_offsets
from nesting.outline.pasted import Pasted
from nesting.outline.photo.marks import Ask
from nesting.outline.photo.photo import from_photo
from nesting.outline.photo.picture import read_picture
from nesting.outline.readouts import from_readouts
from nesting.outline.sides import SideOpenError
from nesting.outline.spares import next_tapes
from nesting.outline.taped import Said, read_statement
from nesting.outline.tapes import from_tapes
from nesting.outline.walk import from_walk
from nesting.plate import Plate

Floats = np.ndarray
TRIALS = 60
LETTERS = "ABCDEFGHIJ"


def plate(rng: np.random.Generator) -> Floats:
    """Corners of an odd plate of 5 to 9 corners, about 1 m wide, some of them pointing inwards, counter-clockwise."""
    count = int(rng.integers(5, 10))
    angles = np.sort(2 * math.pi * (np.arange(count) + rng.uniform(-0.3, 0.3, count)) / count)
    radii = rng.uniform(350.0, 700.0, count)
    corners: Floats = radii[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])
    return corners


def text(lines: list[str]) -> Pasted:
    return Pasted(name="trial", text="\n".join(lines))


def by_corners(true: Floats, rng: np.random.Generator) -> Captured:
    xy = true + rng.normal(0.0, 1.0, true.shape)
    return from_corners(text([f"{x:.4f},{y:.4f}" for x, y in xy]))


def by_readouts(true: Floats, rng: np.random.Generator) -> Captured:
    xy = true + rng.normal(0.0, 0.5, true.shape)
    return from_readouts(text([f"X{x:.4f} Y{y:.4f}" for x, y in xy]))


def by_offsets(true: Floats, rng: np.random.Generator) -> Captured:
    askew = np.radians(rng.normal(0.0, 0.3, len(true)))
    station = true[:, 0] + rng.normal(0.0, 1.0, len(true)) + askew * true[:, 1]
    offset = true[:, 1] + rng.normal(0.0, 1.0, len(true))
    return from_offsets(
        text([f"{s:.4f}, {'L' if o > 0 else 'R'} {abs(o):.4f}" for s, o in zip(station, offset, strict=True)])
    )


def by_walk(true: Floats, rng: np.random.Generator) -> Captured:
    steps = np.roll(true, -1, axis=0) - true
    directions = np.degrees(np.arctan2(steps[:, 1], steps[:, 0]))
    turns = (np.roll(directions, -1) - directions + 180.0) % 360.0 - 180.0 + rng.normal(0.0, 0.5, len(true))
    lengths = np.hypot(*steps.T) + rng.normal(0.0, 1.0, len(true))
    return from_walk(text([f"{length:.4f}, {turn:.5f}" for length, turn in zip(lengths, turns, strict=True)]))


def by_tapes(true: Floats, rng: np.random.Generator) -> Captured:
    n = len(true)
    edges = [(k, (k + 1) % n) for k in range(n)]
    pairs = [*edges, *next_tapes(true, edges, n, combinations(range(n), 2))]
    lines = [f"{LETTERS[i]},{LETTERS[j]},{math.dist(true[i], true[j]) + rng.normal(0.0, 1.0):.4f}" for i, j in pairs]
    before, after = np.roll(true, 1, axis=0), np.roll(true, -1, axis=0)
    u, v = true - before, after - true
    dents = tuple(LETTERS[k] for k in range(n) if u[k, 0] * v[k, 1] - u[k, 1] * v[k, 0] < 0.0)
    said = Said(dents=dents)
    while True:
        try:
            return from_tapes(text(lines), said=said)[0]
        except SideOpenError as asked:
            said = said.plus(next(s for c in asked.choices if (s := read_statement(c)) and seen(true, s)))


def seen(true: Floats, said: Said) -> bool:
    """Whether what is said of one side is so."""
    ((side,),) = (said.sides,)
    a, b, c = (true[LETTERS.index(n)] for n in (side.start, side.end, side.corners[0]))
    return bool(side.left == ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) > 0.0))


WAYS: dict[str, Callable[[Floats, np.random.Generator], Captured]] = {
    "corners": by_corners,
    "torch readouts": by_readouts,
    "offsets": by_offsets,
    "edge walk": by_walk,
    "tapes": by_tapes,
}


def outline(found: Captured) -> Floats:
    return np.array([(c["x_mm"], c["y_mm"]) for c in found.figures["corners"]])


def error(found: Captured, true: Floats) -> float:
    """Largest distance of a corner from its true place, the plate laid as the way in says; edges are no worse."""
    got = outline(found)
    if found.set_up_by is not None:
        first, second = (found.names.index(n) for n in found.set_up_by)
        a, b = got[second] - got[first], true[second] - true[first]
        turn = math.atan2(b[1], b[0]) - math.atan2(a[1], a[0])
        c, s = math.cos(turn), math.sin(turn)
        got = (got - got[first]) @ np.array([[c, s], [-s, c]]) + true[first]
    return float(np.hypot(*(got - true).T).max())


@pytest.mark.parametrize("way", WAYS)
def test_the_stated_bound_holds(way: str):
    rng = np.random.default_rng(5)
    ratios = []
    for _ in range(TRIALS):
        true = plate(rng)
        found = WAYS[way](true, rng)
        assert found.way == way
        ratios.append(error(found, true) / found.uncertainty_mm)
    assert np.mean(np.array(ratios) <= 1.0) >= 0.93  # 95 % less what chance takes of sixty
    assert max(ratios) < 1.5
    assert np.median(ratios) > 0.2  # a bound that nothing comes near to would waste plate


def test_a_drawing_comes_in_as_it_is(tmp_path: Path):
    true = plate(np.random.default_rng(6))
    taken = from_corners(text([f"{x:.6f},{y:.6f}" for x, y in true]))
    write_plates([Plate(name="drawn", outer=taken.outer)], tmp_path / "drawn.dxf")
    found, _ = from_drawing(tmp_path / "drawn.dxf", uncertainty_mm=0.5)
    assert found.outer.area_mm2 == pytest.approx(taken.outer.area_mm2, rel=1e-9)
    assert found.uncertainty_mm == 0.5


@pytest.mark.parametrize("light", [(1.0, 1.0, 1.0), (0.6, 0.62, 0.7), (1.15, 1.0, 0.9)])
def test_a_photo_in_any_light_agrees_within_its_bound(
    light: tuple[float, float, float], scene: Scene, ask: Ask, tmp_path: Path
):
    """The rendered plate, holes and all, as a camera saw it, dimmer or tinted, with noise of its own."""
    rng = np.random.default_rng(int(100 * light[0]))
    seen = scene.picture * np.array(light) + rng.normal(0.0, 2.0, scene.picture.shape)
    cv2.imwrite(str(tmp_path / "plate.png"), seen.clip(0, 255).round().astype(np.uint8))
    found = from_photo(read_picture(tmp_path / "plate.png"), ask)
    off = photo_error(scene, found)
    assert found.captured.way == "photo"
    assert len(found.captured.holes) == len(scene.plate.interiors)
    assert off.worst <= found.captured.uncertainty_mm
    # The same plate by its corners: both outlines lie within both bounds of one another.
    corners = shapely.get_coordinates(scene.plate.exterior)[:-1]
    taped = from_corners(text([f"{x:.3f},{y:.3f}" for x, y in corners]), sigma_mm=0.2)
    allowed = found.captured.uncertainty_mm + taped.uncertainty_mm
    assert math.sqrt(taped.outer.area_mm2) == pytest.approx(math.sqrt(found.captured.outer.area_mm2), abs=allowed)
