"""Figures against published and plain arithmetic, and in agreement with their lists."""

import json
import math
from dataclasses import replace

import pytest
from shapely.geometry import Polygon, box

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.mass import mass_kg
from nesting.part import Part
from nesting.plate import Plate
from nesting.remnant import Balance, Remnant, balance
from nesting.report.cautions import cautions
from nesting.report.facts import CheckFacts
from nesting.report.figures import figures
from nesting.shop import Prices, Shop

CLEAR = Clearances(kerf_mm=1.5, gap_mm=6.0, margin_mm=10.0, lead_in_mm=5.0)
STEEL = 7850.0


def _layout(plate: Plate, part: Part, places: list[tuple[float, float]], wanted: int | None = None) -> Layout:
    return Layout(
        plate=plate,
        clearances=CLEAR,
        demands=(Demand(part=part, quantity=wanted),),
        placements=tuple(
            Placement(number=n, part_id=part.id, pose=Pose(x_mm=x, y_mm=y)) for n, (x, y) in enumerate(places, 1)
        ),
    )


SQUARE = Part(id="sq", name="Square", outer=Contour.of_rectangle(200.0, 200.0))
DISC = Part(id="disc", name="Disc", outer=Contour(curves=(circle((0.0, 0.0), 50.0),)))


@pytest.mark.parametrize(
    ("corners", "thickness", "area", "mass"),
    [
        # Plain geometry at 7850 kg/m3 (civiltutorials.com, calculation of steel plate weight).
        ([(0, 0), (600, 0), (600, 200), (250, 200), (250, 500), (0, 500)], 6.0, 195_000.0, 9.1845),
        ([(0, 0), (1000, 0), (1000, 400), (400, 900), (0, 900)], 10.0, 750_000.0, 58.875),
        # 2000 x 1000 x 10 mm plate is 157 kg (civiltutorials.com).
        ([(0, 0), (2000, 0), (2000, 1000), (0, 1000)], 10.0, 2_000_000.0, 157.0),
    ],
)
def test_plate_mass(corners: list[tuple[float, float]], thickness: float, area: float, mass: float) -> None:
    plate = Plate(name="p", outer=Contour.of_points(corners), thickness_mm=thickness, grade="S235JR")

    report = figures(_layout(plate, SQUARE, []), Shop())

    assert report.plate.area_mm2 == area
    assert report.figure("plate_mass").value == pytest.approx(mass, abs=1e-3)
    assert "7850 kg/m3 (grade S235JR" in report.density_note
    assert mass_kg(area, thickness, STEEL) == pytest.approx(mass, abs=1e-9)


def test_cut_time_of_ten_squares() -> None:
    """Ten 200 mm squares, 6 mm, 65 A: operator manual 806650 rev. 4 prints 2550 mm/min and 0.5 s."""
    sheet = Plate(name="sheet", outer=Contour.of_rectangle(1100.0, 500.0), thickness_mm=6.0)
    places = [(12.0 + 210 * i, 12.0 + 220 * j) for i in range(5) for j in range(2)]

    report = figures(_layout(sheet, SQUARE, places), Shop(amps=65.0))

    assert report.figure("cut_length").value == 8000.0
    assert report.figure("pierces").value == 10
    assert report.figure("cut_time").value == pytest.approx(188.24 + 5.0, abs=0.06)
    assert report.figure("cut_time").inputs["speed_mm_min"] == 2550.0
    assert "806650" in report.cutting_note


def test_kerf_mass_of_one_metre() -> None:
    """1 m of cut, 1.5 mm wide, in 6 mm steel: 0.07065 kg, plain arithmetic."""
    assert mass_kg(1000.0 * 1.5, 6.0, STEEL) == pytest.approx(0.07065, abs=1e-9)


def test_leftover_credit_of_the_worked_example() -> None:
    """62 % parts and 32 % returned are 91.18 % with credit, plain arithmetic."""
    plate = Plate(name="p", outer=Contour.of_rectangle(100.0, 100.0))
    part = Part(id="a", name="A", outer=Contour.of_rectangle(62.0, 100.0))
    layout = _layout(plate, part, [(0.0, 0.0)])
    areas = _areas(plate_mm2=10_000.0, parts_mm2=6200.0, kept_mm2=3200.0, scrap_mm2=600.0)

    report = figures(layout, Shop(), areas=areas)

    assert report.figure("utilisation").value == 62.0
    assert report.figure("utilisation_with_leftover_credit").value == 91.18
    assert 100 * report.balance_mm2["scrap_mm2"] / report.balance_mm2["plate_mm2"] == 6.0


def _areas(*, plate_mm2: float, parts_mm2: float, kept_mm2: float, scrap_mm2: float) -> Balance:
    return Balance(
        plate_mm2=plate_mm2,
        parts_mm2=parts_mm2,
        parts=(box(0, 0, 62, 100),),
        kerf=Polygon(),
        kept=(Remnant(label="R1", polygon=box(0, 0, kept_mm2 / 100, 100)),),
        scrap=box(0, 0, scrap_mm2 / 100, 100),
    )


def test_equal_circles_stay_below_their_known_bound() -> None:
    """No packing of equal circles fills more than pi / sqrt(12) = 90.690 % (Thue; Fejes Toth)."""
    reach = 100.0 + CLEAR.gap_mm
    rows = 8
    places = [
        (62.0 + reach * i + (reach / 2 if j % 2 else 0.0), 62.0 + reach * math.sqrt(3) / 2 * j)
        for j in range(rows)
        for i in range(9)
    ]
    plate = Plate(name="p", outer=Contour.of_rectangle(62 + reach * 8.5 + 62, 62 + reach * 0.866026 * 7 + 62))

    value = figures(_layout(plate, DISC, places), Shop()).figure("utilisation").value

    assert value is not None
    assert 60.0 < value < 90.690


@pytest.mark.parametrize(("side", "heavy"), [(0.4882, False), (0.4884, True)])
def test_lift_flag_at_23_kg_in_6_mm_steel(side: float, heavy: bool) -> None:
    """23 kg (NIOSH 94-110) is 0.4883 m2 of 6 mm steel, plain arithmetic."""
    part = Part(id="a", name="A", outer=Contour.of_rectangle(1000.0, 1000.0 * side))
    plate = Plate(name="p", outer=Contour.of_rectangle(1100.0, 600.0), thickness_mm=6.0)

    report = figures(_layout(plate, part, [(20.0, 20.0)]), Shop())

    assert report.lift_limit_kg == 23.0
    assert report.parts[0].above_lift_limit is heavy


def test_unknown_thickness_gives_no_mass_and_no_time(sample: Layout) -> None:
    layout = replace(sample, plate=replace(sample.plate, thickness_mm=None))

    report = figures(layout, Shop(amps=65.0))

    assert [f.value for f in report.figures if f.key.endswith("_mass")] == [None] * 5
    assert report.figure("cut_time").value is None
    assert "thickness is not known" in report.cutting_note
    assert all(p.mass_kg is None and p.above_lift_limit is None for p in report.parts)
    assert all(r.mass_kg is None for r in report.remnants)


def test_amperage_not_given_gives_no_time_and_says_so(sample: Layout) -> None:
    report = figures(sample, Shop())

    assert report.figure("cut_time").value is None
    assert "amperage not given" in report.figure("cut_time").note


def test_cost_by_the_shops_prices(sample: Layout) -> None:
    prices = Prices(new_per_kg=2.0, remnant_per_kg=1.0, scrap_per_kg=0.25, currency="EUR")

    sheet = replace(sample, plate=replace(sample.plate, outer=Contour.of_rectangle(1000.0, 900.0), holes=()))
    cut_off = replace(sheet, plate=replace(sheet.plate, parent="sheet 12"))
    bought, leftover, odd = (figures(x, Shop(prices=prices)) for x in (sheet, cut_off, sample))
    areas = balance(sample, Shop())

    mass = {k: bought.figure(k).value or 0.0 for k in ("plate_mass", "kept_mass", "scrap_mass")}
    net = 2.0 * mass["plate_mass"] - mass["kept_mass"] - 0.25 * mass["scrap_mass"]
    assert bought.figure("material_cost").value == pytest.approx(net, abs=0.011)
    assert leftover.figure("plate_cost").value == pytest.approx(mass["plate_mass"], abs=0.006)
    assert odd.figure("plate_cost").value == pytest.approx(odd.figure("plate_mass").value, abs=0.006), "no sheet"
    used = (leftover.figure("plate_mass").value or 0.0) - (leftover.figure("kept_mass").value or 0.0)
    assert leftover.figure("saved_by_leftover").value == pytest.approx((2.0 - 1.0) * used, abs=0.006)
    assert bought.figure("saved_by_leftover").value == 0.0
    assert "no known parent" in str(bought.figure("plate_cost").inputs["plate_taken_as"])
    assert not [f for f in figures(sample, Shop(), areas=areas).figures if f.unit == "EUR" or f.key.endswith("_cost")]
    partly = figures(sample, Shop(prices=Prices(scrap_per_kg=0.25)), areas=areas)
    assert partly.figure("plate_cost").value is None
    assert partly.figure("material_cost").note == "price or mass not known"


def test_sums_are_those_of_the_rows(sample: Layout) -> None:
    report = figures(sample, Shop(amps=65.0))

    assert report.balance_mm2["parts_mm2"] == round(sum(p.placed * p.area_mm2 for p in report.parts), 1)
    assert report.figure("parts_mass").value == round(sum(p.placed * (p.mass_kg or 0) for p in report.parts), 3)
    assert report.figure("cut_length").value == round(sum(p.placed * p.cut_length_mm for p in report.parts), 1)
    assert report.figure("pierces").value == sum(p.placed * p.pierces for p in report.parts)
    assert report.figure("kept_mass").value == sum(r.mass_kg or 0 for r in report.remnants)
    assert abs(report.balance_mm2["error_percent"]) < 0.01


def test_every_figure_has_its_definition_and_inputs(sample: Layout) -> None:
    report = figures(sample, Shop(amps=65.0))

    assert all(f.definition and f.inputs for f in report.figures)
    utilisation = report.figure("utilisation")
    assert utilisation.value == pytest.approx(
        100 * float(utilisation.inputs["parts_mm2"] or 0) / float(utilisation.inputs["plate_mm2"] or 1),
        abs=0.005,
    )


def test_report_is_json_with_its_schema(sample: Layout) -> None:
    check = CheckFacts(passed=True, summary="fine", smallest_gap_mm=5.0)
    report = figures(sample, Shop(), check=check, notes=("a note",))

    document = json.loads(json.dumps(report.as_json(), allow_nan=False))

    assert document["schema"] == "oddplate-yield/1"
    assert document["layout_id"] == sample.id
    assert document["left_over"][0]["reason"] == "no free place was found in the time given"
    assert document["check"]["passed"] is True
    assert document["plate"]["grade"] is None
    assert {d["name"] for d in document["drawings"]} >= {"ring.dxf", "plate.dxf"}
    assert document["clearances"][0]["label"] == "kerf"
    margins = {c["label"]: c["value_mm"] for c in document["clearances"]}
    assert margins["margin kept in all"] == 11.0


def test_cautions_fit_process_and_material() -> None:
    unknown, plain, gas = (
        " ".join(c.text for c in cautions(process, material))
        for process, material in (("plasma", None), ("plasma", "mild steel"), ("oxy-fuel", "mild steel"))
    )

    for standard in ("29 CFR 1910.252-254", "ANSI Z49.1", "NFPA 51B", "machine's own manual"):
        assert standard in plain
    assert "chromium" in unknown and "hydrogen" in unknown
    assert "chromium" not in plain and "hydrogen" not in plain
    assert "hydrogen" in " ".join(c.text for c in cautions("plasma", "aluminium"))
    assert "200 to 400 V" in plain and "200 to 400 V" not in gas
    assert all(c.source for c in cautions("laser", None))


def test_no_remnant_is_turned_by_minus_nothing() -> None:
    layout = _layout(
        Plate(name="p", outer=Contour.of_rectangle(500, 400)),
        Part(id="a", name="a", outer=Contour.of_rectangle(50, 40)),
        [(10, 10)],
    )
    areas = balance(layout, Shop())
    remnant = areas.kept[0]
    remnant.__dict__["rectangle"] = replace(remnant.rectangle, turn_deg=-0.01)

    assert str(figures(layout, Shop(), areas=areas).remnants[0].rectangle_turn_deg) == "0.0"
