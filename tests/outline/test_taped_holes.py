"""Old cut-outs among the tapes: by a taped centre, by taped corners, on the plate, within the figure told."""

import math
import re

import numpy as np
import pytest

from nesting.errors import InputError
from nesting.outline.captured import Captured
from nesting.outline.pasted import Pasted
from nesting.outline.sides import SideOpenError
from nesting.outline.taped_holes import covariance_of
from nesting.outline.tapes import from_tapes

PLACES = {
    "A": (0, 0),
    "B": (1300, 0),
    "C": (1280, 700),
    "D": (40, 820),
    "P": (400, 300),
    "Q": (560, 300),
    "R": (480, 460),
}
EDGE = ["AB", "BC", "CD", "DA", "AC", "BD"]


def lines(pairs: list[str], off_mm: dict[str, float] | None = None) -> str:
    return "".join(
        f"{a},{b},{math.dist(PLACES[a], PLACES[b]) + (off_mm or {}).get(a + b, 0.0):.4f}\n" for a, b in pairs
    )


def taped(text: str, **options: object) -> Captured:
    return from_tapes(Pasted(name="r.csv", text=text), **options)[0]  # type: ignore[arg-type]


def test_a_round_cut_out_lies_where_its_centre_was_taped():
    found = taped(lines([*EDGE, "AP", "BP", "DP"]) + "hole circle P 160")
    (hole,) = found.holes
    assert hole.area_mm2 == pytest.approx(math.pi * 80**2)
    x0, y0, x1, y1 = hole.polygon(0.01, "midway").bounds
    assert ((x0 + x1) / 2, (y0 + y1) / 2) == pytest.approx(PLACES["P"], abs=0.1)
    assert found.outer.area_mm2 == pytest.approx(taped(lines(EDGE)).outer.area_mm2, rel=1e-6)
    assert set(found.names) == set("ABCD") and set(found.set_up_by or ()) <= set("ABCD")


def test_two_tapes_hold_a_centre_since_it_lies_on_the_plate():
    """Its mirror image at the edge lies off the plate; between two diagonal corners both do not."""
    found = taped(lines([*EDGE, "AP", "BP"]) + "hole circle P 160")
    assert len(found.holes) == 1
    (told,) = found.warnings
    assert re.match("tapes A-P, B-P are not checked .* take (tape [A-D]-P too|one more tape to P)", told)
    with pytest.raises(SideOpenError, match="P") as asked:
        taped(lines([*EDGE, "AP", "CP"]) + "hole circle P 160")
    assert any(choice.startswith("P left of ") for choice in asked.value.choices)
    assert len(taped(lines([*EDGE, "AP", "CP"]) + "hole circle P 160\nP right of A C").holes) == 1


def test_a_cut_out_with_corners():
    tapes = [*EDGE, *(c + h for h in "PQR" for c in "ABD")]
    (hole,) = taped(lines(tapes) + "hole P Q R").holes
    assert hole.area_mm2 == pytest.approx(160 * 160 / 2, rel=1e-4)


def test_the_figure_told_covers_a_cut_out_that_is_badly_held():
    """Tapes of 10 mm put its centre off by far more than the corners."""
    pairs = [*EDGE, "AP", "BP", "DP"]
    hole = "hole circle P 160"
    rough = "".join(f"{line},10\n" if "P" in line else f"{line}\n" for line in lines(pairs).splitlines())
    assert taped(rough + hole).uncertainty_mm > 2 * taped(lines(pairs) + hole).uncertainty_mm


def test_a_diameter_that_may_be_off_adds_half_of_that_to_the_edge_of_the_hole():
    text = lines([*EDGE, "AP", "BP", "DP"]) + "hole circle P 160"
    _, found = from_tapes(Pasted(name="r.csv", text=text), sigma_mm=2.0)
    assert found.scale == 1.0
    more = covariance_of(found) - found.adjusted.covariance
    assert np.diag(more) == pytest.approx([0.0] * 8 + [1.0, 1.0])


def test_the_stated_figure_holds_for_the_centre():
    """All corners and the centre within the bound in 95 % of trials or more, laid by the two corners named."""
    rng, held = np.random.default_rng(5), 0
    pairs = [*EDGE, "AP", "BP", "CP", "DP"]
    for _ in range(60):
        found = taped(lines(pairs, dict(zip(pairs, rng.normal(0, 1, len(pairs)), strict=True))) + "hole circle P 160")
        if found.figures["suspects"]:
            held += 1
            continue
        x0, y0, x1, y1 = found.holes[0].polygon(0.01, "midway").bounds
        seen = {c["name"]: complex(c["x_mm"], c["y_mm"]) for c in found.figures["corners"]}
        first, second = (seen[n] for n in found.set_up_by or ())
        true_first, true_second = (complex(*PLACES[n]) for n in found.set_up_by or ())
        turn = (true_second - true_first) / (second - first)
        turn /= abs(turn)
        centre = true_first + turn * (complex((x0 + x1) / 2, (y0 + y1) / 2) - first)
        held += abs(centre - complex(*PLACES["P"])) <= found.uncertainty_mm
    assert held >= 57


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ("hole circle\n", "line 7: 'hole circle' is no hole; write 'hole P Q R'.* plate edit FILE --hole circle,X,Y,D"),
        ("hole\ncircle,340,490,160\n", "line 7: 'hole' is no hole"),
        ("hole circle,340,490,160\n", "'hole circle,340,490,160' is no hole.* plate edit FILE --hole"),
        ("circle,340,490,160\n", "'circle,340,490,160' is no hole.* plate edit FILE --hole"),
        ("keep-out rust\n", r"'keep-out rust' is no tape reading.* plate edit FILE --keep-out"),
        ("hole circle P 0\n", "a hole of diameter 0"),
        ("hole circle P 160\n", "P is named and no tape leads there"),
        ("hole A B C\n", "tapes between 1 corners"),
        ("order A B C D\nhole circle A 100\n", "A is in a hole and elsewhere too"),
    ],
)
def test_what_is_no_taped_hole_is_refused_with_what_to_do(more: str, told: str):
    with pytest.raises(InputError, match=told):
        taped(lines(EDGE) + more)


def test_a_cut_out_across_the_edge_is_refused():
    with pytest.raises(InputError, match=r"r.csv, line 10 \(hole\): reaches .* mm beyond the outline"):
        taped(lines([*EDGE, "AP", "BP", "DP"]) + "hole circle P 700")
