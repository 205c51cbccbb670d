"""The shop file and what is taken where it is silent."""

import tomllib
from datetime import date
from pathlib import Path

import pytest

from nesting.clearances import Clearances
from nesting.errors import JobError
from nesting.files.job import ClearancesEntry
from nesting.files.shop_file import FIRST_SHOP, read_shop
from nesting.geometry.contour import Contour
from nesting.plate import Plate
from nesting.shop import DEFAULT_SOURCES, MeasuredKerf, Shop
from nesting.steps.spacing import derive_clearances

FULL = """\
units = "inch"
name = "Test shop"
paper = "Letter"
lift_limit_kg = 20

[prices]
new = 2
remnant = 1.0
currency = "USD"

[keep]
rectangles = [[12, 12], ["4 in", 40]]

[cutting]
process = "plasma"
amps = 45
gap = "3/8 in"
table = [48, 96]

[[measured_kerf]]
kerf = 0.062
measured = 2026-01-31
amps = 45
thickness = "1/4 in"

[[cut_row]]
thickness = "1/4 in"
amps = 45
speed_mm_min = 1300
kerf = "1.7 mm"
"""


def shop_file(folder: Path, text: str) -> Path:
    path = folder / "shop.toml"
    path.write_text(text, encoding="utf-8")
    return path


def plate(thickness_mm: float | None, grade: str | None = "S235JR") -> Plate:
    return Plate(name="p", outer=Contour.of_rectangle(500, 400), thickness_mm=thickness_mm, grade=grade)


def derived(entry: ClearancesEntry, shop: Shop, thickness_mm: float | None) -> Clearances:
    return derive_clearances(entry, shop, plate(thickness_mm)).clearances


def entry(**values: object) -> ClearancesEntry:
    return ClearancesEntry.model_validate(values, context={"unit": "mm"})


def test_every_value_of_a_full_file_arrives_in_millimetres(tmp_path: Path):
    shop = read_shop(shop_file(tmp_path, FULL))
    assert (shop.name, shop.paper, shop.unit, shop.lift_limit_kg) == ("Test shop", "Letter", "inch", 20.0)
    assert (shop.prices.new_per_kg, shop.prices.scrap_per_kg, shop.prices.currency) == (2.0, None, "USD")
    assert shop.keep_mm == (pytest.approx((304.8, 304.8)), pytest.approx((101.6, 1016.0)))
    assert shop.table_mm == pytest.approx((1219.2, 2438.4))
    assert shop.gap_mm == pytest.approx(9.525)
    assert shop.measured_kerfs[0].measured_on == date(2026, 1, 31)
    assert shop.cut_rows[0].kerf_mm == 1.7


def test_defaults_say_where_they_come_from(tmp_path: Path):
    """The lift limit is the load constant of the NIOSH lifting equation (NIOSH 94-110): 51 lb, 23 kg."""
    shop = read_shop(shop_file(tmp_path, 'units = "mm"\n'))
    assert shop.lift_limit_kg == 23.0
    assert shop.keep_mm == ((300.0, 300.0), (100.0, 1000.0))
    assert "NIOSH 94-110" in shop.sources["lift_limit"]
    assert "common practice, no source" in shop.sources["keep"]
    assert shop.sources["units"] == "shop file shop.toml"
    assert set(shop.sources) == set(DEFAULT_SOURCES) == set(Shop().sources)


def test_the_first_shop_file_is_valid_as_written_and_with_every_line_taken(tmp_path: Path):
    assert read_shop(shop_file(tmp_path, FIRST_SHOP)).name == "My shop"
    lines = [line.removeprefix("# ") if _is_code(line) else line for line in FIRST_SHOP.splitlines()]
    taken = "\n".join(lines)
    assert len(tomllib.loads(taken)) > 6
    shop = read_shop(shop_file(tmp_path, taken))
    assert shop.prices.new_per_kg == 1.2
    assert shop.measured_kerfs[0].kerf_mm == 1.6
    assert shop.cut_rows[0].source == "own trial"
    assert not [key for key, text in shop.sources.items() if text == DEFAULT_SOURCES[key]]
    inches = read_shop(shop_file(tmp_path, taken.replace('units = "mm" ', 'units = "inch" ')))
    for key in ("keep_mm", "gap_mm", "margin_mm", "table_mm", "measured_kerfs", "cut_rows"):
        assert getattr(inches, key) == getattr(shop, key), key


def _is_code(line: str) -> bool:
    body = line.removeprefix("# ")
    return line.startswith("# ") and (body.startswith("[") or " = " in body.split("#")[0][:20])


def test_faults_of_a_shop_file_come_at_once(tmp_path: Path):
    text = 'units = "mm"\npapr = "A4"\n[prices]\nnew = -1\n[[measured_kerf]]\nkerf = 1.5\nmeasured = "today"\n'
    with pytest.raises(JobError) as caught:
        read_shop(shop_file(tmp_path, text))
    assert [line.split(": ", 1)[1] for line in str(caught.value).splitlines()] == [
        "papr: unknown key; did you mean 'paper'?",
        "prices.new: expected 0 or more, got -1",
        "measured_kerf.1.measured: expected a date such as 2026-05-31, got a text ('today')",
    ]
    with pytest.raises(JobError, match=r"keep\.rectangles: expected at least one"):
        read_shop(shop_file(tmp_path, 'units = "mm"\n[keep]\nrectangles = []\n'))
    with pytest.raises(JobError, match=r"keep\.narrowest: 120 mm is wider than the narrowest keep rectangle, 100 mm"):
        read_shop(shop_file(tmp_path, 'units = "mm"\n[keep]\nnarrowest = 120\n'))


def test_the_narrowest_strip_of_use_is_half_a_keep_size_unless_said(tmp_path: Path):
    keep = 'units = "mm"\n[keep]\nrectangles = [[250, 400], [80, 600]]\n'
    said, silent = (read_shop(shop_file(tmp_path, keep + more)) for more in ("narrowest = 30\n", ""))
    assert (Shop().keep_width_mm, said.keep_width_mm, silent.keep_width_mm) == (50.0, 30.0, 40.0)
    assert said.sources["narrowest"].startswith("shop file") and "our own rule" in silent.sources["narrowest"]
    assert read_shop(shop_file(tmp_path, 'units = "mm"\n[keep]\nnarrowest = 30\n')).keep_mm == Shop().keep_mm


def test_a_measured_kerf_wins_over_the_chart_and_the_job_over_both(tmp_path: Path):
    shop = read_shop(shop_file(tmp_path, FULL))
    measured = derived(entry(), shop, 6.35)
    assert measured.kerf_mm == pytest.approx(0.062 * 25.4)
    assert measured.sources["kerf_mm"] == "measured in the shop on 2026-01-31"
    assert derived(entry(kerf=2), shop, 6.35).kerf_mm == 2.0
    assert derived(entry(kerf=2), shop, 6.35).sources["kerf_mm"] == "given in the job"


def test_the_kerf_comes_from_the_chart_where_nobody_measured():
    """Operator manual 809240 rev. 4: 0.061 in at 1/4 in, 45 A."""
    found = derived(entry(), Shop(amps=45), 6.35)
    assert found.kerf_mm == pytest.approx(0.061 * 25.4, abs=1e-4)
    assert "809240" in found.sources["kerf_mm"]


def test_a_kerf_measured_for_another_thickness_is_not_taken():
    kerf = MeasuredKerf(kerf_mm=1.0, measured_on=date(2026, 1, 1), thickness_mm=3.0)
    assert Shop(measured_kerfs=(kerf,)).measured_kerf("plasma", 45, 6.0) is None
    assert Shop(measured_kerfs=(kerf,)).measured_kerf("plasma", 45, None) is None
    assert Shop(measured_kerfs=(kerf,)).measured_kerf("plasma", 45, 3.0) is kerf
    assert Shop(measured_kerfs=(kerf,)).measured_kerf("laser", 45, 3.0) is None


def test_of_two_measured_kerfs_the_closer_then_the_newer_is_taken():
    old = MeasuredKerf(kerf_mm=1.0, measured_on=date(2025, 1, 1))
    new = MeasuredKerf(kerf_mm=1.1, measured_on=date(2026, 1, 1))
    exact = MeasuredKerf(kerf_mm=1.2, measured_on=date(2024, 1, 1), thickness_mm=6.0)
    assert Shop(measured_kerfs=(new, old)).measured_kerf("plasma", None, 6.0) is new
    assert Shop(measured_kerfs=(new, exact, old)).measured_kerf("plasma", None, 6.0) is exact


def test_gap_and_margin_follow_process_and_thickness():
    """Common practice, no source; a gap always holds two kerfs and a web of 2 mm (newayprecision.com)."""
    found = derived(entry(kerf=1.5), Shop(), 10.0)
    assert (found.gap_mm, found.margin_mm, found.lead_in_mm) == (10.0, 12.0, 10.0)
    wide = derived(entry(kerf=3), Shop(), 6.0)
    assert wide.gap_mm == 8.0
    assert wide.web_mm == 2.0


@pytest.mark.parametrize(
    ("values", "thickness_mm", "told"),
    [
        ({}, 6.0, "kerf is not known: no cut-chart row for plasma, amperage not given"),
        ({"amps": 65}, 6.0, r"prints no kerf for it; in print are 2.03 to 2.79 mm \(protolab"),
        ({}, None, "kerf is not known: the plate's thickness is not known"),
        ({"kerf": 1.5}, None, "gap is not given and the plate's thickness"),
        ({"kerf": 1.5, "gap": 5}, None, "margin is not given and the plate's thickness"),
        ({"kerf": 1.5, "gap": 1, "margin": 5}, 6.0, "gap 1 mm is less than the kerf"),
    ],
)
def test_what_cannot_be_derived_is_asked_for(values: dict[str, float], thickness_mm: float | None, told: str):
    shop = Shop(amps=values.pop("amps", None))
    with pytest.raises(JobError, match=told):
        derived(entry(**values), shop, thickness_mm)


def test_plate_over_the_pierce_limit_is_noted():
    """Operator manual 809240 rev. 4: edge start from 5/8 in at 45 A."""
    notes = derive_clearances(entry(), Shop(amps=45), plate(15.875)).notes
    assert any("edge starts" in n for n in notes)


def test_an_unknown_grade_is_said_and_not_filled_in():
    notes = derive_clearances(entry(), Shop(amps=45), plate(6.0, grade=None)).notes
    assert notes == ("cut chart taken for mild steel: the plate's grade is unknown",)
