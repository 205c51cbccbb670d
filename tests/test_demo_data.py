"""The demo job: read as it is meant to be, and redrawn by its script to the same parts."""

import hashlib
import importlib.util
from dataclasses import replace
from pathlib import Path

import pytest

from nesting.drawing.reader import read_drawing
from nesting.files.job import read_job
from nesting.fit.bends import grain_findings
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.steps.order import Order, resolve

DEMO = Path(__file__).resolve().parents[1] / "data" / "demo"


@pytest.fixture(scope="module")
def demo() -> Order:
    return resolve(read_job(DEMO / "job.toml"))


def test_at_least_six_parts_fill_about_half_of_the_plate(demo: Order):
    """So that all of them fit soon and a piece worth keeping is left."""
    parts = {d.part.id: d.part for d in demo.demands}
    net = sum(d.part.area_mm2 * (d.quantity or 0) for d in demo.demands)
    assert len(parts) == 7
    assert 0.4 < net / demo.plate.area_mm2 < 0.5


def test_nothing_in_it_is_in_doubt(demo: Order):
    """The one note says what a layer that is not cut was taken for; the layer's name leaves no doubt of it."""
    found = [(name, f.severity, f.message) for name, f in demo.findings]
    assert found == [("bracket.dxf", "note", "kept as marks, not cut, by layer: BEND (bend)")]
    assert [f.message for f in demo.fit if f.severity != "note"] == []
    assert demo.plate.heat is None


def test_the_drawing_of_the_plate_is_told_with_unit_and_hash(demo: Order):
    (plate,) = (d for d in demo.drawings if d.role == "plate")
    assert (plate.name, plate.unit) == ("plate.dxf", "mm")
    assert plate.unit_reason == next(d for d in demo.drawings if d.unit == "mm").unit_reason
    assert plate.sha256 == hashlib.sha256((DEMO / "plate.dxf").read_bytes()).hexdigest()


def test_its_bend_is_wide_enough_for_any_direction(demo: Order):
    """So that the layout, which may turn the bracket any way, asks nothing."""
    bracket = next(d.part for d in demo.demands if d.part.id == "bracket")
    placed = Placement(number=1, part_id="bracket", pose=Pose())
    lain = Layout(plate=demo.plate, clearances=demo.clearances, demands=demo.demands, placements=(placed,))
    assert bracket.bend_radius_mm == 14.0
    assert grain_findings(lain) == grain_findings(replace(lain, plate=replace(demo.plate, grain_deg=None))) == ()


def test_the_plate_has_an_old_cut_out_and_a_keep_out(demo: Order):
    assert (len(demo.plate.holes), len(demo.plate.keep_outs)) == (1, 1)
    assert demo.clearances.edge_mm(demo.plate.uncertainty_mm) == 10.0
    assert demo.clearances.sources["kerf_mm"] == "measured in the shop on 2026-02-11"


def test_the_hub_fits_inside_the_ring_with_its_gap(demo: Order):
    parts = {d.part.id: d.part for d in demo.demands}
    opening = max(2 * (h.area_mm2 / 3.141592653589793) ** 0.5 for h in parts["flange"].holes)
    assert opening == pytest.approx(220.0)
    assert max(parts["hub"].size_mm) + 2 * demo.clearances.gap_mm < opening


def test_one_drawing_is_in_inches():
    link = read_drawing(DEMO / "link-inch.dxf")
    assert link.unit == "inch"
    assert link.parts[0].size_mm == pytest.approx((127.0, 50.8), abs=1e-3)


def test_bend_lines_and_etching_ride_along(demo: Order):
    parts = {d.part.id: d.part for d in demo.demands}
    assert [m.kind for m in parts["bracket"].marks] == ["bend"]
    assert [t.text for t in parts["base plate"].texts] == ["B-204"]


def test_the_script_draws_the_same_parts_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    assert spec is not None and spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    monkeypatch.setattr(script, "HERE", tmp_path)
    monkeypatch.setattr(script.ezdxf.options, "write_fixed_meta_data_for_testing", False)
    script.main()
    for path in sorted(DEMO.glob("*.dxf")):
        drawn, kept = read_drawing(tmp_path / path.name), read_drawing(path)
        assert [(p.outer, p.holes, p.marks) for p in drawn.parts] == [(p.outer, p.holes, p.marks) for p in kept.parts]
