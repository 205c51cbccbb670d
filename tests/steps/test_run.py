"""The pipeline from a resolved order to a released folder, with a plain placing function in the search's place."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import ezdxf
import pytest

from nesting.check import check_drawing
from nesting.errors import CheckFailed, InputError
from nesting.files.job import read_job
from nesting.files.layout_file import load_layout
from nesting.files.release import FILES
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement, SearchFacts
from nesting.steps.order import Order, resolve
from nesting.steps.run import OnProgress, ShouldStop, run_job


def in_rows(order: Order, _progress: OnProgress | None = None, _stop: ShouldStop | None = None) -> Layout:
    """Lay parts side by side as drawn, from the lower left corner of a plain rectangle."""
    clear, x, number = order.clearances, order.clearances.margin_mm, 0
    placements = []
    for demand in order.demands:
        x0, y0, x1, _ = demand.part.placing_polygon.bounds
        for _ in range(demand.quantity or 0):
            number += 1
            pose = Pose(x_mm=x - x0, y_mm=clear.margin_mm - y0)
            placements.append(Placement(number=number, part_id=demand.part.id, pose=pose))
            x += x1 - x0 + clear.gap_mm
    facts = SearchFacts(seed=0, steps=1, seconds=0.0, poses_tried=number, threads=1)
    return Layout(
        plate=order.plate,
        clearances=clear,
        demands=order.demands,
        placements=tuple(placements),
        search=facts,
    )


@pytest.fixture
def order(tmp_path: Path) -> Order:
    doc = ezdxf.new("R2000")
    doc.header["$INSUNITS"] = 4
    doc.modelspace().add_circle((7, 3), 50)
    doc.modelspace().add_circle((7, 3), 25)
    doc.saveas(tmp_path / "ring.dxf")
    text = """\
units = "mm"
[plate]
width = 400
height = 200
thickness = 6
[clearances]
kerf = 1.5
gap = 6
margin = 8
[[part]]
drawing = "ring.dxf"
quantity = 3
[output]
folder = "out"
"""
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    return resolve(read_job(tmp_path / "job.toml"))


def test_all_files_appear_together_with_one_id(order: Order):
    result = run_job(order, place=in_rows)
    assert sorted(p.name for p in order.folder.iterdir()) == sorted(FILES)
    assert [p.name for p in order.folder.parent.iterdir() if p.name.startswith(".")] == []
    layout = load_layout(order.folder / "layout.json")
    report = json.loads((order.folder / "report.json").read_text(encoding="utf-8"))
    assert layout.id == result.layout.id == report["layout_id"] != ""
    for name in ("layout.dxf", "layout.svg", "report.html", "report.csv"):
        assert layout.id in (order.folder / name).read_text(encoding="utf-8"), name
    assert (order.folder / "layout.png").read_bytes().startswith(b"\x89PNG")
    rows = list(csv.reader((order.folder / "report.csv").read_text(encoding="utf-8").splitlines()))
    assert any("ring" in row for row in rows)


def test_the_drawing_reads_back_and_passes(order: Order):
    result = run_job(order, place=in_rows)
    again = check_drawing(order.folder / "layout.dxf", layout=result.layout)
    assert again.passed
    assert again.parts_checked == 3
    assert result.check.worst_gap is not None
    assert result.check.worst_gap.found_mm >= 6 - 0.001


def test_a_layout_that_breaks_a_clearance_is_not_released(order: Order):
    def too_close(order: Order, _progress: OnProgress | None, _stop: ShouldStop | None) -> Layout:
        layout = in_rows(order)
        second = layout.placements[1]
        nearer = replace(second, pose=replace(second.pose, x_mm=second.pose.x_mm - 3.0))
        return replace(layout, placements=(layout.placements[0], nearer, layout.placements[2]))

    with pytest.raises(CheckFailed, match=r"not released:\n.*1.*2"):
        run_job(order, place=too_close)
    assert sorted(p.name for p in order.folder.parent.iterdir()) == ["job.toml", "ring.dxf"]


def test_a_failure_while_writing_leaves_the_former_folder(order: Order, monkeypatch: pytest.MonkeyPatch):
    former = run_job(order, place=in_rows).layout.id

    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("nesting.steps.run.write_drawing", fail)
    with pytest.raises(OSError, match="No space left"):
        run_job(order, force=True, place=in_rows)
    assert load_layout(order.folder / "layout.json").id == former
    assert [p.name for p in order.folder.parent.iterdir() if p.name.startswith(".")] == []


def test_a_taken_folder_is_refused_before_the_search(order: Order):
    run_job(order, place=in_rows)

    def never(*_: object) -> Layout:
        raise AssertionError("the search must not start")

    with pytest.raises(InputError, match="exists already; use --force"):
        run_job(order, place=never)
    assert run_job(order, force=True, place=in_rows).folder == order.folder


def test_the_result_can_be_written_in_inches_for_an_old_controller(order: Order):
    result = run_job(
        replace(order, unit="inch", writing=replace(order.writing, unit="inch", version="R12")), place=in_rows
    )
    doc = ezdxf.readfile(order.folder / "layout.dxf")
    assert doc.dxfversion == "AC1009"
    radii = sorted(c.dxf.radius * 25.4 for c in doc.modelspace().query("CIRCLE"))
    assert radii == pytest.approx([25.0] * 3 + [50.0] * 3)
    assert result.check.passed
