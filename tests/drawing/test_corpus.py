"""Real drawings from public repositories: read right, or refused in plain words.

The drawings carry licences of their own and stay outside; the tests are skipped where they are absent.
"""

import csv
import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from nesting.drawing.declared_units import choose_unit
from nesting.drawing.findings import NoPartsError
from nesting.drawing.open_dxf import open_dxf
from nesting.drawing.reader import Drawing, read_drawing
from nesting.errors import DrawingError, UnitsUnknownError
from nesting.units import Unit

CORPUS = Path(__file__).parents[3] / "shared" / "dxf-corpus"

pytestmark = pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus of real drawings is not beside the checkout")

JOINED = {"prusa3d__Original-Prusa-i3/FRAME_MK2.dxf": 1.5}
"""Drawings whose answer needs a wider joining tolerance, as the answer itself says."""

OTHERWISE = {
    "mikedh__trimesh/broken_loop.dxf": "its lines overlap by 2.54 mm rather than leave a gap; mended with a warning",
    "prusa3d__Original-Prusa-i3/MK3v8b.dxf": "its outline is one spline of exactly 370 x 370 mm",
}
"""Answers that the drawings themselves do not bear out, tested below for what they hold."""


def answers() -> dict[str, Any]:
    """Right readings of the hard drawings, as looked at and recomputed by others."""
    path = CORPUS / "expected.json"
    return dict(json.loads(path.read_text(encoding="utf-8"))) if path.exists() else {}


def drawings() -> list[str]:
    """All drawings, by path in the corpus."""
    return sorted(p.relative_to(CORPUS).as_posix() for p in CORPUS.rglob("*") if p.suffix.lower() == ".dxf")


@cache
def read(name: str) -> Drawing | DrawingError:
    """Read a drawing, with the unit a user would give where it must be asked for."""
    fallback: Unit = "inch" if answers().get(name, {}).get("units", "").startswith("inch") else "mm"
    join_mm = JOINED.get(name, 0.5)
    try:
        try:
            return read_drawing(CORPUS / name, join_mm=join_mm)
        except UnitsUnknownError:
            return read_drawing(CORPUS / name, units=fallback, join_mm=join_mm)
    except DrawingError as error:
        return error


@pytest.mark.parametrize("name", drawings())
def test_read_or_refused(name: str) -> None:
    result = read(name)

    if isinstance(result, DrawingError):
        assert str(result).startswith(Path(name).name)
    else:
        assert result.parts
        assert len({part.id for part in result.parts}) == len(result.parts)
        assert all(part.area_mm2 > 0.0 for part in result.parts)


@pytest.mark.parametrize("name", [n for n, a in answers().items() if a["expect"] == "import" and n not in OTHERWISE])
def test_expected_parts(name: str) -> None:
    result, answer = read(name), answers()[name]

    assert isinstance(result, Drawing), str(result)
    if answer["parts"] is not None:
        assert len(result.parts) == answer["parts"]
    if answer["holes"] is not None:
        assert sum(len(part.holes) for part in result.parts) == answer["holes"]
    if answer["bbox_mm"] is not None:
        boxes = [part.fine_polygon.bounds for part in result.parts]
        width = max(b[2] for b in boxes) - min(b[0] for b in boxes)
        height = max(b[3] for b in boxes) - min(b[1] for b in boxes)
        assert (width, height) == pytest.approx(answer["bbox_mm"], abs=answer["tolerance_mm"])


@pytest.mark.parametrize("name", [n for n, a in answers().items() if a["expect"] in ("warn", "reject")])
def test_no_silent_wrong_part(name: str) -> None:
    result = read(name)

    if isinstance(result, Drawing):
        assert any(f.severity != "note" for f in result.findings)


def test_answers_that_differ() -> None:
    overlap = read("mikedh__trimesh/broken_loop.dxf")
    frame = read("prusa3d__Original-Prusa-i3/MK3v8b.dxf")

    assert isinstance(overlap, Drawing) and isinstance(frame, Drawing)
    assert any("2.54 mm drawn twice" in f.message for f in overlap.findings)
    assert [len(overlap.parts), len(frame.parts), sum(len(p.holes) for p in frame.parts)] == [1, 2, 75]


def test_open_window_is_reported_with_its_gap() -> None:
    drawing = read_drawing(CORPUS / "prusa3d__Original-Prusa-i3/FRAME_MK2.dxf")

    assert any("open by 1.41 mm" in f.message for f in drawing.findings if f.severity == "error")


def test_a_sheet_border_is_never_a_part() -> None:
    folder = "IRNAS__GoodEnoughCNC-PlasmaCutter"
    for name in ("Bottom plate.DXF", "L Profile - Chain Support.DXF"):
        result = read(f"{folder}/{name}")
        assert isinstance(result, NoPartsError) and "drawing sheet with border" in str(result)


def test_units_are_settled_as_the_survey_says() -> None:
    """Declared units against the survey's own reading of the raw headers."""
    with (CORPUS / "manifest.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    asked = 0
    for row in rows:
        code = row["insunits"].strip()
        try:
            opened = open_dxf(CORPUS / row["file"], (CORPUS / row["file"]).read_bytes())
        except DrawingError:
            continue
        unit = choose_unit(opened.declared, None)
        if unit is None:
            asked += 1
            assert code in ("", "0", "6", "None", "absent"), row["file"]
        else:
            assert f"$INSUNITS {code}" in unit.reason, row["file"]
    assert asked >= 60
