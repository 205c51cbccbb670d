"""Mass by either convention, in the report: published weights of sheet, and which convention it says it took."""

import pytest

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.geometry.contour import Contour
from nesting.layout import Layout
from nesting.lengths import parse_thickness
from nesting.part import Part
from nesting.plate import Plate
from nesting.report.facts import YieldReport
from nesting.report.figures import figures
from nesting.report.wording import measures
from nesting.shop import MassBy, Shop

POUNDS = measures("inch")["mass"]


def _sheet(width_in: float, height_in: float, thickness: str, mass_by: MassBy, grade: str | None = None) -> YieldReport:
    plate = Plate(
        name="sheet",
        outer=Contour.of_rectangle(25.4 * width_in, 25.4 * height_in),
        thickness_mm=parse_thickness(thickness, "inch"),
        grade=grade,
    )
    one = Part(id="a", name="A", outer=Contour.of_rectangle(25.4 * 12, 25.4 * 12))
    clear = Clearances(kerf_mm=1.5, gap_mm=6.0, margin_mm=10.0)
    return figures(Layout(plate=plate, clearances=clear, demands=(Demand(part=one),)), Shop(mass_by=mass_by))


def _pounds(report: YieldReport) -> float:
    value = POUNDS.shown(report.figure("plate_mass").value)
    assert value is not None
    return value


@pytest.mark.parametrize(
    ("width", "height", "thickness", "pounds"),
    [
        # US Navy rate-training manual, estimating metal weight: 424.86 lb at 0.284 lb/in3; 424.27 at 0.2836.
        (68, 44, "1/2 in", 424.27),
        # ezcalculator.net, plate weight tables: about 327 lb.
        (48, 96, "1/4 in", 326.7),
        # supplier's page for 3/4 in plate: 30.63 lb a square foot.
        (12, 12, "3/4 in", 30.63),
        # 16 ga by density: 0.0598 in at 0.2836 lb/in3 (Cragin Metals gauge chart for the thickness).
        (48, 96, "16 ga mild steel", 78.1),
        (48, 96, "10 ga mild steel", 175.8),
    ],
)
def test_weight_by_density(width: float, height: float, thickness: str, pounds: float) -> None:
    report = _sheet(width, height, thickness, "density")

    assert _pounds(report) == pytest.approx(pounds, abs=0.1)
    assert report.mass_by == "density"
    assert "Mass by density, 7850 kg/m3" in report.density_note and "not by gauge-weight table" in report.density_note


@pytest.mark.parametrize(
    ("gauge", "grade", "lb_ft2"),
    [
        # Cragin Metals gauge chart, at 41.82 lb/ft2 per inch.
        (10, None, 5.624),
        (12, "A36", 4.374),
        (14, "S235JR", 3.124),
        (16, None, 2.501),
        (10, "galvanised steel", 5.779),
    ],
)
def test_weight_by_gauge_table(gauge: int, grade: str | None, lb_ft2: float) -> None:
    metal = grade if grade and grade.startswith("galvanised") else "mild steel"
    report = _sheet(48, 96, f"{gauge} ga {metal}", "gauge table", grade)

    assert _pounds(report) / 32 == pytest.approx(lb_ft2, abs=0.002)
    assert report.mass_by == "gauge table"
    assert "41.82 lb/ft2 per inch" in report.density_note and f"{gauge} ga" in report.density_note
    assert "2.4 % above density" in report.density_note
    assert report.parts[0].mass_kg == pytest.approx(lb_ft2 * 0.45359237, abs=0.002)


def test_a_16_gauge_sheet_of_4_by_8_feet_weighs_80_pounds_by_the_table() -> None:
    """From the Cragin Metals gauge chart: 2.501 lb/ft2 x 32 ft2."""
    assert _pounds(_sheet(48, 96, "16 ga mild steel", "gauge table")) == pytest.approx(80.0, abs=0.1)


@pytest.mark.parametrize(
    ("thickness", "grade", "told"),
    [
        ("6 mm", None, "6 mm is no gauge of mild steel"),
        ("1.5 mm", None, "1.5 mm is no gauge of mild steel"),  # not 16 ga, 1.519 mm
        ("10 ga stainless", "304", "3.57124 mm is no gauge of 304"),  # no weight is printed for it
    ],
)
def test_what_no_gauge_table_weighs_goes_by_density_and_says_so(thickness: str, grade: str | None, told: str) -> None:
    report = _sheet(48, 96, thickness, "gauge table", grade)

    assert report.mass_by == "density"
    assert told in report.density_note and "which was asked for" in report.density_note
    assert report.figure("plate_mass").inputs["density_kg_m3"] == (8000.0 if grade else 7850.0)
