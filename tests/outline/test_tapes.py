"""Taped distances: exact figures, sides, what is refused, and whether the stated deviations and suspects are true."""

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pytest

from nesting.errors import InputError
from nesting.outline.captured import Captured
from nesting.outline.pasted import Pasted
from nesting.outline.sides import SideOpenError
from nesting.outline.spares import next_tapes
from nesting.outline.taped import Said
from nesting.outline.tapes import from_tapes

LETTERS = "ABCDEFGPQ"
SEVEN = np.array([[0, 0], [1150, -40], [1420, 380], [1210, 860], [700, 760], [180, 900], [-120, 420]], dtype=float)
EDGES = [(k, (k + 1) % 7) for k in range(7)]
HELD = [*EDGES, (0, 2), (0, 3), (0, 4), (0, 5)]
"""The edges of `SEVEN` and four diagonals hold it: 2 x 7 - 3 tapes."""


def taped(text: str, said: Said | None = None, **options: object) -> Captured:
    return from_tapes(Pasted(name="readings.csv", text=text), said=said, **options)[0]  # type: ignore[arg-type]


def readings(points: np.ndarray, pairs: Sequence[tuple[int, int]], errors: Sequence[float] | None = None) -> str:
    off = [0.0] * len(pairs) if errors is None else errors
    lines = [
        f"{LETTERS[i]},{LETTERS[j]},{math.dist(points[i], points[j]) + e:.5f}"
        for (i, j), e in zip(pairs, off, strict=True)
    ]
    return "\n".join(lines)


def corners(found: Captured) -> dict[str, tuple[float, float]]:
    return {c["name"]: (c["x_mm"], c["y_mm"]) for c in found.figures["corners"]}


def test_three_four_five():
    """A triangle of 3, 4 and 5 has a right angle (Euclid, Elements I.48); corners run counter-clockwise."""
    found = taped("A,B,300\nB,C,400\nA,C,500")
    assert corners(found) == {"A": (0.0, 0.0), "B": (300.0, 0.0), "C": pytest.approx((300.0, 400.0))}
    assert found.figures["spare"] == 0 and found.figures["suspects"] == []
    assert found.outer.area_mm2 == pytest.approx(60_000.0)
    mirrored = taped("clockwise\nA,B,300\nB,C,400\nA,C,500")
    assert mirrored.outer.area_mm2 == pytest.approx(60_000.0)
    assert corners(mirrored)["C"] == pytest.approx((300.0, -400.0), abs=1e-3)


def test_inches_with_fractions_and_headings():
    found = taped("from,to,length\na,b,12 3/8\nB;C;12-3/8 in\nA C 12 3/8", unit="inch")
    assert [r["reading_mm"] for r in found.figures["readings"]] == [pytest.approx(314.325)] * 3
    assert corners(found)["C"] == pytest.approx((314.325 / 2, 314.325 * math.sqrt(3) / 2), abs=1e-3)


def test_impossible_triple_is_refused_with_its_lines():
    with pytest.raises(InputError, match=r"readings.csv, lines 1, 2, 3: no triangle A-B-C .* 200.0 mm longer"):
        taped("A,B,300\nB,C,400\nA,C,900")


def test_too_few_tapes_are_answered_with_the_one_to_take():
    with pytest.raises(InputError, match="4 tapes do not hold 4 corners; 1 more is needed: take tape A-C"):
        taped("A,B,1200\nB,C,800\nC,D,1200\nD,A,800")
    # Enough by number, and yet D swings: the rank tells, not the count.
    with pytest.raises(InputError, match=r"6 tapes do not hold 5 corners"):
        taped(readings(SEVEN, [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 4)]))
    with pytest.raises(InputError, match=r"7 tapes do not hold 5 corners; 1 more is needed: take tape"):
        taped(readings(SEVEN, [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3), (2, 4)]))


def test_the_tape_proposed_holds_the_figure():
    loose = [(k, (k + 1) % 7) for k in range(7)]
    with pytest.raises(InputError) as told:
        taped(readings(SEVEN, loose))
    named = str(told.value).split("take tape ")[1].split(" (")[0].replace("then ", "").split(", ")
    pairs = [(LETTERS.index(t[0]), LETTERS.index(t[2])) for t in named]
    assert len(pairs) == 4
    found = taped(readings(SEVEN, [*loose, *pairs]), Said(dents=("E",)))
    assert found.outer.area_mm2 == pytest.approx(_area(SEVEN), rel=1e-5)


def test_a_corner_of_two_tapes_has_a_mirror_image_that_is_asked_for():
    pentagon = np.array([[0, 0], [1200, 0], [1300, 700], [600, 900], [-100, 500]], dtype=float)
    text = readings(pentagon, [(0, 1), (1, 2), (2, 3), (0, 2), (1, 3), (0, 3), (3, 4), (4, 0)])
    with pytest.raises(SideOpenError, match=r"with E on one side .* take tape B-E \(about 707 or 1393 mm\)") as asked:
        taped(text)
    assert set(asked.value.choices) == {"dents none", "dents E"}
    assert corners(taped(text, Said(dents=())))["E"] == pytest.approx((-100.0, 500.0), abs=0.01)
    inward = taped(f"{text}\ndents E")
    assert math.dist(corners(inward)["E"], (1200, 0)) == pytest.approx(500 * math.sqrt(2), abs=0.01)
    # A third tape settles it.
    assert corners(taped(f"{text}\nB,E,{math.dist((1200, 0), (-100, 500)):.2f}"))["E"][0] < 0.0


def test_base_points_and_sides():
    base = np.array([[-200, -300], [1600, -300]], dtype=float)
    points = np.vstack([SEVEN, base])
    pairs = [(7, 8), *((k, b) for k in range(7) for b in (7, 8))]
    text = f"base P Q\n{readings(points, pairs)}"
    with pytest.raises(SideOpenError, match="left of P Q"):
        taped(text)
    found = taped(f"{text}\nA B C D E F G left of P, Q")
    assert found.outer.area_mm2 == pytest.approx(_area(SEVEN), rel=1e-5)
    assert sum(c["base"] for c in found.figures["corners"]) == 2


def test_flat_tapes_are_warned_of_and_their_deviation_told():
    """At base 1000 and tapes of 505 the height is 70.9 mm; 1 mm of one tape moves it by 505 / (2 x 70.9) = 3.6 mm."""
    found = taped("A,B,1000\nA,C,505\nB,C,505")
    corner = next(c for c in found.figures["corners"] if c["name"] == "C")
    assert corner["y_mm"] == pytest.approx(math.sqrt(505**2 - 500**2), abs=1e-3)
    slope = 505 / (2 * 70.887)
    by_base = 1000 / (4 * 70.887)
    assert corner["sd_y_mm"] == pytest.approx(math.hypot(slope, slope, by_base), rel=1e-3)
    assert any("the tapes to C cross at 16 degrees" in w for w in found.warnings)


def test_corners_in_one_line_swing_freely():
    with pytest.raises(InputError, match=r"swing freely|no figure fits"):
        taped("A,B,1000\nA,C,500\nB,C,500")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("A,B", "line 1: 'A,B' is no tape reading"),
        ("A,B,12\nA,A,5", "line 2: a tape from A to itself"),
        ("A,B,12\nB,C,-4", "line 2: tape B-C reads -4"),
        ("A,B,12\nB,C,x4", r"line 2: 'x4' is not a length"),
        ("A,B,12\nB,C,4\nC,A,12\ndents Z", "Z is named and no tape leads there"),
        ("A,B,12\nB,C,4\nC,A,12\norder A B", "order leaves out C"),
        ("", "no tape readings"),
    ],
)
def test_faults_name_file_and_line(text: str, told: str):
    with pytest.raises(InputError, match=rf"readings.csv.*{told}"):
        taped(text)


def test_a_tape_can_be_left_out():
    pairs = [*HELD, (1, 3), (1, 5), (2, 4), (2, 6), (4, 6)]
    errors = [0.0] * len(pairs)
    errors[9] = 25.0
    text = readings(SEVEN, pairs, errors)
    found = taped(text)
    (suspect,) = found.figures["suspects"]
    assert suspect["tape"] == "A-E" and suspect["misread_mm"] == pytest.approx(25.0, abs=0.5)
    assert "25 mm too long" in found.warnings[0]
    mended = taped(text, leave_out=["A-E"])
    assert mended.figures["suspects"] == [] and corners(mended)["E"] != corners(found)["E"]
    with pytest.raises(InputError, match="there is no tape B-G to leave out"):
        taped(text, leave_out=["B-G"])


def _area(points: np.ndarray) -> float:
    x, y = points.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def _chosen() -> list[tuple[int, int]]:
    return [*HELD, *next_tapes(SEVEN, HELD, 5, combinations(range(7), 2))]


def test_stated_deviations_agree_with_the_scatter():
    """Readings of 1 mm on seven corners with five spare diagonals: within 20 % for every corner, x and y."""
    rng = np.random.default_rng(20)
    places, stated = [], []
    pairs = _chosen()
    for _ in range(250):
        found = taped(readings(SEVEN, pairs, rng.normal(0.0, 1.0, len(pairs))), spares=0)
        places.append([(c["x_mm"], c["y_mm"]) for c in found.figures["corners"]])
        stated.append([(c["sd_x_mm"], c["sd_y_mm"]) for c in found.figures["corners"]])
    scatter, said = np.std(places, axis=0).ravel(), np.mean(stated, axis=0).ravel()
    free = said > 0.0
    assert free.sum() == 11
    np.testing.assert_allclose(scatter[free], said[free], rtol=0.2)
    assert np.all(scatter[~free] == 0.0)


def test_a_blunder_is_named_where_the_tool_chose_the_spare_diagonals():
    rng = np.random.default_rng(21)
    pairs = _chosen()
    right = 0
    for _ in range(250):
        errors = rng.normal(0.0, 1.0, len(pairs))
        wrong = int(rng.integers(len(pairs)))
        errors[wrong] += rng.choice([-20.0, 20.0])
        found = taped(readings(SEVEN, pairs, errors), spares=0)
        named = found.figures["suspects"][:1]
        right += bool(named) and named[0]["line"] == wrong + 1
    assert right >= 0.95 * 250


def test_the_bound_covers_all_corners_at_once():
    """Laid on the table by the two corners told, every corner is within the bound in 95 % of all cases."""
    rng = np.random.default_rng(22)
    pairs = _chosen()
    covered = 0
    for _ in range(200):
        found = taped(readings(SEVEN, pairs, rng.normal(0.0, 1.0, len(pairs))), spares=0)
        assert found.set_up_by is not None
        placed = np.array([corners(found)[n] for n in LETTERS[:7]])
        first, second = (LETTERS.index(n) for n in found.set_up_by)
        covered += np.hypot(*(laid(placed, SEVEN, first, second) - SEVEN).T).max() <= found.uncertainty_mm
    assert covered >= 0.95 * 200


def laid(points: np.ndarray, on: np.ndarray, first: int, second: int) -> np.ndarray:
    """Points moved so that one corner lies on its true place and the direction to another is right."""
    a, b = points[second] - points[first], on[second] - on[first]
    turn = math.atan2(b[1], b[0]) - math.atan2(a[1], a[0])
    c, s = math.cos(turn), math.sin(turn)
    moved: np.ndarray = (points - points[first]) @ np.array([[c, s], [-s, c]]) + on[first]
    return moved


def test_many_corners_from_two_nails_take_one_word_of_sides():
    """Sixteen corners have 2^16 figures; what is said of sides leaves one, and is looked at while corners are laid."""
    angles = 2 * math.pi * np.arange(16) / 16
    ring = 600 * np.column_stack([np.cos(angles), np.sin(angles)]) * (1 + 0.1 * np.cos(3 * angles))[:, None]
    points = np.vstack([ring, [[-1000, -900], [900, -1000]]])
    pairs = [(16, 17), *((k, b) for k in range(16) for b in (16, 17))]
    names = [*"ABCDEFGHIJKLMNOP", "Y", "Z"]
    lines = [f"{names[i]},{names[j]},{math.dist(points[i], points[j]):.4f}" for i, j in pairs]
    text = "\n".join(["base Y Z", *lines])
    with pytest.raises(InputError, match=r"at least|not all their sides"):
        taped(text)
    found = taped(f"{text}\n{' '.join(names[:16])} left of Y Z")
    assert found.outer.area_mm2 == pytest.approx(_area(ring), rel=1e-5)


def test_slips_are_no_headings_and_feet_stay_feet():
    with pytest.raises(InputError, match="line 1: 'l2oo' is not a length"):
        taped("A,B,l2oo\nB,C,400\nA,C,500")
    found = taped("A,B,3'\nB,C,4'\nA,C,5'")
    assert [r["reading_mm"] for r in found.figures["readings"]] == [914.4, 1219.2, 1524.0]
    quoted = taped('"A","B","12 3/8"\n"B","C","12 3/8"\n"A","C","12 3/8"', unit="inch")
    assert quoted.figures["readings"][0]["reading_mm"] == pytest.approx(314.325)
    with pytest.raises(InputError, match="a deviation of 0 mm"):
        taped("A,B,3\nB,C,4\nA,C,5", sigma_mm=0.0)


def test_a_misread_tape_is_told_in_the_unit_of_the_readings():
    """Beside a table in inches the warning once spoke of millimetres."""
    off = [0.0] * 11 + [50.8, 0.0, 0.0, 0.0]
    pairs = [*HELD, (1, 3), (1, 4), (2, 5), (2, 4)]
    lines = [
        f"{LETTERS[i]},{LETTERS[j]},{(math.dist(SEVEN[i], SEVEN[j]) + e) / 25.4:.4f}"
        for (i, j), e in zip(pairs, off, strict=True)
    ]
    told = taped("\n".join(lines), unit="inch").warnings[0]
    assert "reads 37.512 in " in told and "likely 1.99 in too long" in told and " mm" not in told
    with pytest.raises(InputError, match=r"sides A-C 80.000 in, .* 10.000 in longer than the other two"):
        taped("A,B,30\nB,C,40\nA,C,80", unit="inch")
    loose = "A,B,40; B,C,30; C,D,40; D,A,30; A,C,50; D,E,20; E,A,20".replace("; ", "\n")
    with pytest.raises(SideOpenError, match=r"take tape \S+ \(about [\d.]+ or [\d.]+ in\)"):
        taped(loose, unit="inch")
