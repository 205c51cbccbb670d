"""How drawings are read, as a job says it: layers, joining, rules and single parts, of one drawing and of all."""

from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, square

from nesting.errors import DrawingError, JobError
from nesting.files.job import make_job
from nesting.steps.order import Order, resolve

CLEAR = {"kerf": 1.5, "gap": 6, "margin": 8}


def draw(space: Any) -> None:
    """A square with a gap of 1 mm, a hole on another layer, a mark, and a second square beside it."""
    space.add_lwpolyline([(0, 1), (0, 100), (100, 100), (100, 0), (0, 0)], dxfattribs={"layer": "CUT1"})
    space.add_circle((50, 50), 10, dxfattribs={"layer": "INNER"})
    space.add_line((20, 20), (80, 20), dxfattribs={"layer": "INNER", "linetype": "CENTER"})
    square(space, 60, 200, layer="CUT2")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return drawing(tmp_path / "two.dxf", draw)


def order(path: Path, drawings: dict[str, Any] | None = None, **keys: Any) -> Order:
    data = {
        "units": "mm",
        "plate": {"width": 500, "height": 500},
        "clearances": CLEAR,
        "drawings": drawings or {},
        "part": [{"drawing": str(path), **keys}],
    }
    return resolve(make_job(data))


def test_a_wider_joining_tolerance_is_said_of_all_or_of_one(path: Path) -> None:
    with pytest.raises(DrawingError, match="open by 1 mm"):
        order(path)

    of_all = order(path, {"join": 1.5})
    of_one = order(path, {"join": 0.1}, join="1.2 mm")

    assert len(of_all.demands) == len(of_one.demands) == 2
    (gap,) = [f for _, f in of_one.findings if f.kind == "gap bridged"]
    assert (gap.size_mm, gap.severity) == (pytest.approx(1.0), "warning")
    assert any("ends joined up to 1.2 mm" in note for note in of_one.notes)


def test_layers_are_chosen(path: Path) -> None:
    found = order(path, {"layers": ["cut*"]}, join=1.5)
    only_second = order(path, {"layers": ["cut*"]}, layers="CUT2")

    assert [len(d.part.holes) for d in found.demands] == [0, 0]
    assert [d.part.size_mm for d in only_second.demands] == [pytest.approx((60.0, 60.0))]
    assert any("cut layers CUT2" in note for note in only_second.notes)


def test_rules_of_one_drawing_come_before_those_of_all(path: Path) -> None:
    general = {"join": 2, "rules": [{"layer": "INNER", "role": "ignore"}]}
    own = [{"layer": "inner", "line_type": "center*", "role": "bend"}, {"layer": "inner", "role": "cut"}]

    left_out = order(path, general).demands[0].part
    kept = order(path, general, rules=own)

    assert (len(left_out.holes), len(left_out.marks)) == (0, 0)
    part = kept.demands[0].part
    assert (len(part.holes), [mark.kind for mark in part.marks]) == (1, ["bend"])
    assert any("layer inner line type center* as bend" in note for note in kept.notes)


def test_one_part_of_several_is_chosen(path: Path) -> None:
    second = order(path, {"join": 2}, only=2)
    both = order(path, {"join": 2}, only=[2, 1])

    assert [d.part.size_mm for d in second.demands] == [pytest.approx((60.0, 60.0))]
    assert any("only part 2 of 2 is laid out" in note for note in second.notes)
    assert len(both.demands) == 2
    with pytest.raises(JobError, match="only asks for part 3, and the drawing holds 2"):
        order(path, {"join": 2}, only=3)


def test_the_limit_of_entities_can_be_raised(path: Path) -> None:
    with pytest.raises(DrawingError, match="over the limit of 3"):
        order(path, {"most_entities": 3, "join": 2})


@pytest.mark.parametrize(
    ("drawings", "keys", "message"),
    [
        ({"rules": [{"layer": "A", "role": "engraved"}]}, {}, r"drawings\.rules\.1\.role: expected 'cut', 'mark'"),
        ({"rules": [{"layers": "A", "role": "cut"}]}, {}, "unknown key; did you mean 'layer'"),
        ({"join": "-1 mm"}, {}, "expected 0 or more"),
        ({"layer": ["A"]}, {}, "did you mean 'layers'"),
        ({}, {"only": 0}, "expected the number of a part"),
        ({}, {"units": "px100"}, "px96"),
    ],
)
def test_faults_are_told(path: Path, drawings: dict[str, Any], keys: dict[str, Any], message: str) -> None:
    with pytest.raises(JobError, match=message):
        order(path, drawings, **keys)
