"""Reports over several cuts: sums of what is shown, published examples, and what was made against what was planned."""

import csv
import html
import io
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from html.parser import HTMLParser

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from report_layouts import sample_layout
from shapely.geometry import Polygon, box

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.part import Part
from nesting.plate import Plate
from nesting.remnant import Balance, Remnant
from nesting.report.facts import YieldReport
from nesting.report.figures import figures
from nesting.report.tables import parts_table
from nesting.report.wording import duration
from nesting.report.yields.facts import CutFact, Outcome, Wanted, YieldsReport
from nesting.report.yields.files import layouts_csv, lines_csv, sums_csv
from nesting.report.yields.gathered import gathered
from nesting.report.yields.html import yields_page
from nesting.report.yields.tables import PART_KNOWN, lines_table, material_table, time_table, where_table, work_table
from nesting.report.yields.words import words
from nesting.shop import Prices, Shop
from nesting.units import Unit

PRICES = Prices(new_per_kg=2.0, remnant_per_kg=1.0, scrap_per_kg=0.25, currency="EUR")
SHOP = Shop(amps=65.0, prices=PRICES)
CLEAR = Clearances(kerf_mm=1.5, gap_mm=6.0, margin_mm=10.0, lead_in_mm=5.0)
UNITS: tuple[Unit, ...] = ("mm", "inch")


@cache
def _report(thickness: float | None = 6.0, grade: str | None = None, parent: str | None = None) -> YieldReport:
    layout = sample_layout()
    return figures(
        replace(layout, plate=replace(layout.plate, thickness_mm=thickness, grade=grade, parent=parent)), SHOP
    )


def _day(day: int, month: int = 11, year: int = 2026) -> datetime:
    return datetime(year, month, day, 12, tzinfo=UTC)


def _outcome(report: YieldReport, *, failed: dict[str, int] | None = None) -> Outcome:
    """All parts made but for those that failed; nothing else differs from the plan."""
    failed, b = failed or {}, report.balance_mm2
    return Outcome(
        made={row.part_id: row.placed - failed.get(row.part_id, 0) for row in report.parts},
        failed=failed,
        kerf_mm2=b["kerf_mm2"],
        kept_mm2=b["kept_remnants_mm2"],
        scrap_mm2=b["scrap_mm2"],
    )


def _four() -> YieldsReport:
    """Planned and made, known and unknown thickness, three days."""
    six, unknown, ten = _report(), _report(None), _report(10.0, "S355JR", "P-1")
    return gathered(
        [
            CutFact(report=six, when=_day(3), outcome=_outcome(six, failed={"gusset": 1, "disc": 1})),
            CutFact(report=six, when=_day(2)),
            CutFact(report=unknown),
            CutFact(report=ten, when=_day(2), outcome=_outcome(ten)),
        ],
        title="Four",
    )


class _Tables(HTMLParser):
    """All tables of a page as rows of texts; the last row is the total where there is one."""

    def __init__(self) -> None:
        super().__init__()
        self.tables: list[list[list[str]]] = []
        self.cell = False

    def handle_starttag(self, tag: str, attrs: object) -> None:  # noqa: ARG002
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.tables[-1][-1].append("")
            self.cell = True

    def handle_endtag(self, tag: str) -> None:
        self.cell = self.cell and tag not in ("td", "th")

    def handle_data(self, data: str) -> None:
        if self.cell:
            self.tables[-1][-1][-1] += data


def _number(text: str) -> float | None:
    try:
        return float(text.removesuffix(PART_KNOWN))
    except ValueError:
        return None


@pytest.mark.parametrize("unit", UNITS)
def test_totals_of_the_page_are_the_sums_of_its_columns_to_the_last_digit(unit: Unit) -> None:
    seen = _Tables()
    seen.feed(yields_page(_four(), unit=unit))

    summed = 0
    for table in seen.tables[:5]:
        head, *rows, total = table
        for column, name in enumerate(head):
            numbers = [_number(row[column]) for row in rows]
            if name.startswith(("no.", "thick", "used", "with credit", "line")) or not any(numbers):
                continue
            digits = len(total[column].removesuffix(PART_KNOWN).partition(".")[2])
            if total[column] and None in numbers:
                assert total[column].endswith(PART_KNOWN), name
            if total[column] and _number(total[column]) is not None:
                assert f"{sum(n for n in numbers if n is not None):.{digits}f}" == total[column].removesuffix(
                    PART_KNOWN
                )
                summed += 1
    assert summed >= 30


@pytest.mark.parametrize("unit", UNITS)
def test_one_layout_shows_what_its_own_report_shows(unit: Unit) -> None:
    report = gathered([CutFact(report=_report())], title="One")

    _, own = parts_table(_report(), unit)
    where, work, lines = where_table(report, unit), work_table(report, unit), lines_table(report, unit)

    assert where.rows[0][7] == lines.total[-2] == own.area
    assert work.rows[0][6] == lines.total[-1] == own.mass
    assert own.cut_length in work.rows[0]
    figures_shown = words(report, unit).figures
    shown = {f.key: f.value for f in figures_shown}
    assert (
        sum(f"parts {own.area} " in f.inputs or f"parts laid out {own.area} " in f.inputs for f in figures_shown) == 4
    )
    assert shown["parts_mass"].startswith(own.mass) and shown["cut_length"].startswith(own.cut_length)


@pytest.mark.parametrize("unit", UNITS)
def test_figures_are_the_totals_of_the_tables(unit: Unit) -> None:
    report = _four()
    w = words(report, unit)
    shown = {f.key: f.value for f in w.figures}
    total = dict(zip(w.work.headings, w.work.total, strict=True))

    for key, title in (
        ("parts_mass", "parts, "), ("kerf_mass", "kerf, "), ("kept_mass", "kept, "), ("scrap_mass", "scrap, "),
        ("cut_length", "cut, "), ("material_cost", "material cost, "), ("saved_by_leftover", "saved by leftover, "),
    ):  # fmt: skip
        text = next(value for head, value in total.items() if head.startswith(title))
        assert shown[key].startswith(f"{text.removesuffix(PART_KNOWN)} "), key
    hours, minutes, seconds = (int(v) for v in total["time, h:mm:ss"].removesuffix(PART_KNOWN).split(":"))
    assert shown["cut_time"] == duration(3600 * hours + 60 * minutes + seconds)


def test_csv_and_json_agree_to_the_last_digit() -> None:
    report = _four()
    cuts, lines, sums = (
        list(csv.DictReader(io.StringIO(text, newline="")))
        for text in (layouts_csv(report), lines_csv(report), sums_csv(report))
    )
    total = report.total.amounts.each

    for name, value in total.items():
        known = [float(row[name]) for row in cuts if row[name] != ""]
        assert round(sum(known), 3) == value, name
        for by in ("material", "day"):
            groups = [float(row[name]) for row in sums if row["by"] == by and row[name] != ""]
            assert round(sum(groups), 3) == value, name
    assert sum(int(row["made"]) for row in lines) == total["made"] == 46
    assert round(sum(float(row["area_mm2"]) for row in lines), 1) == total["parts_mm2"]
    assert report.total.not_known["plate_kg"] == 1 and cuts[3]["plate_kg"] == ""
    assert [row["when"][:10] for row in cuts] == ["2026-11-02", "2026-11-02", "2026-11-03", ""]


_CUTS = st.lists(
    st.tuples(
        st.sampled_from([_report(), _report(10.0, "S355JR", "P-1"), _report(None)]),
        st.none() | st.integers(1, 28),
        st.none() | st.integers(0, 3),
    ),
    min_size=1,
    max_size=12,
)


@settings(max_examples=25)
@given(found=_CUTS, unit=st.sampled_from(UNITS))
def test_however_the_cuts_are_grouped_the_totals_are_the_same(
    found: list[tuple[YieldReport, int | None, int | None]], unit: Unit
) -> None:
    facts = [
        CutFact(
            report=r,
            when=None if day is None else _day(day),
            outcome=None if bad is None else _outcome(r, failed={"washer": bad}),
        )
        for r, day, bad in found
    ]
    report = gathered(facts, title="any", by="week")

    by_material, by_time = material_table(report, unit), time_table(report, unit)
    assert by_material.total[2:] == by_time.total[1:]
    for rows in (report.by_material, report.by_time):
        assert sorted(number for row in rows for number in row.cuts) == [c.number for c in report.cuts]
    a = report.total.amounts
    parts = sum(v or 0.0 for v in (a.parts_mm2, a.failed_mm2, a.kerf_mm2, a.kept_mm2, a.scrap_mm2))
    assert parts == pytest.approx(a.plate_mm2, rel=1e-4)
    assert a.made is not None and a.made + (a.failed or 0) == a.placed


def test_failed_parts_are_no_yield_and_their_metal_is_told_apart() -> None:
    report = _report()
    planned = gathered([CutFact(report=report)], title="t")
    came = gathered([CutFact(report=report, outcome=_outcome(report, failed={"base": 2}))], title="t")

    base = next(row for row in report.parts if row.part_id == "base")
    assert came.total.amounts.failed_mm2 == round(2 * base.area_mm2, 1)
    assert came.total.amounts.parts_mm2 == pytest.approx((planned.total.amounts.parts_mm2 or 0) - 2 * base.area_mm2)
    assert came.figure("utilisation_as_planned").value == planned.figure("utilisation").value
    used, b = came.figure("utilisation").value, report.balance_mm2
    assert used == pytest.approx(100 * (b["parts_mm2"] - 2 * base.area_mm2) / b["plate_mm2"], abs=0.005)
    assert came.total.amounts.cut_time_s == planned.total.amounts.cut_time_s, "they were cut all the same"
    assert came.cuts[0].basis == "made" and came.notes == ()
    assert planned.notes == ("all layouts count as planned: nobody has told what was made of them",)


def test_parts_not_reached_cost_no_cutting() -> None:
    report = _report()
    made = {row.part_id: row.placed for row in report.parts} | {"ring": 0}
    ring = next(row for row in report.parts if row.part_id == "ring")
    b = report.balance_mm2
    outcome = Outcome(
        made=made,
        not_reached={"ring": 1},
        kerf_mm2=b["kerf_mm2"] - 2000.0,
        kept_mm2=b["kept_remnants_mm2"],
        scrap_mm2=b["scrap_mm2"] + ring.area_mm2 + 2000.0,
    )

    came = gathered([CutFact(report=report, outcome=outcome)], title="t")

    planned = gathered([CutFact(report=report)], title="t").total.amounts
    assert came.total.amounts.cut_length_mm == pytest.approx((planned.cut_length_mm or 0) - ring.cut_length_mm)
    assert came.total.amounts.pierces == (planned.pierces or 0) - ring.pierces
    line = next(x for x in came.lines if x.part_id == "ring")
    assert (line.placed, line.made, line.failed, line.not_reached, line.wanted) == (1, 0, 0, 1, 1)
    kept, scrap = came.total.amounts.kept_value, came.total.amounts.scrap_value
    cost = (came.total.amounts.plate_cost or 0) - (kept or 0) - (scrap or 0)
    assert came.total.amounts.material_cost == pytest.approx(cost)


def _square_layout(name: str, thickness: float, corners: list[tuple[float, float]]) -> Layout:
    square = Part(id="sq", name="Square", outer=Contour.of_rectangle(200.0, 200.0))
    plate = Plate(name=name, outer=Contour.of_points(corners), thickness_mm=thickness, grade="S235JR")
    return Layout(plate=plate, clearances=CLEAR, demands=(Demand(part=square, quantity=None),), id=name)


def test_masses_of_two_plates_add_up() -> None:
    """L-plate of 6 mm steel 9.1845 kg, five-cornered plate of 10 mm 58.875 kg: plain geometry at 7850 kg/m3
    (civiltutorials.com, calculation of steel plate weight).
    """
    l_plate = _square_layout("L", 6.0, [(0, 0), (600, 0), (600, 200), (250, 200), (250, 500), (0, 500)])
    five = _square_layout("five", 10.0, [(0, 0), (1000, 0), (1000, 400), (400, 900), (0, 900)])

    report = gathered([CutFact(report=figures(x, Shop())) for x in (l_plate, five)], title="two")

    assert report.figure("plate_mass").value == pytest.approx(9.1845 + 58.875, abs=1e-3)
    assert [(r.label, r.amounts.plate_mm2) for r in report.by_material] == [
        ("S235JR, 6 mm", 195_000.0),
        ("S235JR, 10 mm", 750_000.0),
    ]
    assert not any(f.key.endswith("cost") for f in report.figures), "no prices, no costs"


def test_cut_times_add_up() -> None:
    """Ten 200 mm squares in 6 mm at 65 A take 193.24 s (operator manual 806650 rev. 4: 2550 mm/min, 0.5 s)."""
    sheet = _square_layout("sheet", 6.0, [(0, 0), (1100, 0), (1100, 500), (0, 500)])
    places = tuple(
        Placement(number=n, part_id="sq", pose=Pose(x_mm=12.0 + 210 * (n % 5), y_mm=12.0 + 220 * (n // 5)))
        for n in range(10)
    )
    one = figures(replace(sheet, placements=places), Shop(amps=65.0))

    report = gathered([CutFact(report=one), CutFact(report=one, outcome=_outcome(one))], title="two")

    assert report.figure("cut_time").value == pytest.approx(2 * 193.24, abs=0.1)
    assert report.cuts[0].amounts.cut_time_s == pytest.approx(193.24, abs=0.06) == report.cuts[1].amounts.cut_time_s


def test_kerf_of_one_metre_weighs_as_worked_out_by_hand() -> None:
    """1 m of cut, 1.5 mm wide, in 6 mm steel: 0.07065 kg, plain arithmetic; as planned and as told."""
    report = _report()
    outcome = replace(_outcome(report), kerf_mm2=1500.0, scrap_mm2=report.balance_mm2["scrap_mm2"])

    came = gathered([CutFact(report=report, outcome=outcome)], title="t")

    assert came.figure("kerf_mass").value == pytest.approx(0.07065, abs=0.0005)


def test_leftover_credit_of_the_worked_example_over_two_plates() -> None:
    """62 % parts and 32 % returned are 91.18 % with credit, plain arithmetic; twice the plate, the same shares."""
    plate = Plate(name="p", outer=Contour.of_rectangle(100.0, 100.0))
    part = Part(id="a", name="A", outer=Contour.of_rectangle(62.0, 100.0))
    layout = Layout(
        plate=plate,
        clearances=CLEAR,
        demands=(Demand(part=part),),
        placements=(Placement(number=1, part_id="a", pose=Pose()),),
    )
    areas = Balance(
        plate_mm2=10_000.0,
        parts_mm2=6200.0,
        parts=(box(0, 0, 62, 100),),
        kerf=Polygon(),
        kept=(Remnant(label="R1", polygon=box(0, 0, 32, 100)),),
        scrap=box(0, 0, 6, 100),
    )
    one = figures(layout, Shop(), areas=areas)

    report = gathered([CutFact(report=one), CutFact(report=one)], title="two")

    assert report.figure("utilisation").value == 62.0
    assert report.figure("utilisation_with_leftover_credit").value == 91.18
    a = report.total.amounts
    assert 100 * (a.scrap_mm2 or 0) / (a.plate_mm2 or 1) == 6.0


def test_what_leftovers_saved_is_what_was_used_up_of_them_at_the_difference_of_prices() -> None:
    """Plain arithmetic: (plate - kept) kg x (2.00 - 1.00) EUR/kg."""
    report = gathered([CutFact(report=_report(parent="P-1")), CutFact(report=_report(10.0))], title="t")

    used = sum((c.amounts.plate_kg or 0) - (c.amounts.kept_kg or 0) for c in report.cuts)
    assert report.figure("saved_by_leftover").value == pytest.approx(used, abs=0.02)
    cost, mass = report.figure("material_cost").value, report.figure("parts_mass").value
    assert report.figure("material_cost_per_kg").value == pytest.approx((cost or 0) / (mass or 1), abs=0.005)


def test_an_unknown_thickness_is_left_out_and_told() -> None:
    report = _four()

    assert report.figure("plate_mass").note == "not known for 1 of 4 layouts, which are left out"
    assert report.figure("material_cost_per_kg").value is None
    assert report.by_material[-1].label == "grade unknown, thickness unknown"
    assert report.by_material[-1].amounts.plate_kg is None
    assert "1 of 4 layouts count" not in " ".join(report.notes)
    assert report.notes[0].startswith("2 of 4 layouts count as planned")


def test_prices_in_two_currencies_are_not_added_up() -> None:
    dollars = figures(sample_layout(), replace(SHOP, prices=replace(PRICES, currency="USD")))

    report = gathered([CutFact(report=_report()), CutFact(report=dollars)], title="t")

    assert report.currency == "" and report.total.amounts.material_cost is None
    assert not any(f.key == "material_cost" for f in report.figures)
    assert "prices are in 'EUR' and 'USD': costs are not added up" in " ".join(report.notes)


@pytest.mark.parametrize(
    ("by", "labels"),
    [
        ("day", ["2026-12-31", "2027-01-01", "2027-01-04", "date unknown"]),
        # ISO 8601: 1 January 2027 is a Friday, and lies in week 53 of 2026.
        ("week", ["2026-W53", "2027-W01", "date unknown"]),
        ("month", ["2026-12", "2027-01", "date unknown"]),
    ],
)
def test_time_is_told_by_day_week_or_month(by: str, labels: list[str]) -> None:
    days = [_day(31, 12), _day(1, 1, 2027), _day(4, 1, 2027), None]

    report = gathered([CutFact(report=_report(), when=day) for day in days], title="t", by=by)  # type: ignore[arg-type]

    assert [r.label for r in report.by_time] == labels


def test_lines_of_one_order_come_together_over_its_layouts() -> None:
    wanted = [
        Wanted(part_id="gusset", name="Gusset", reference="7", quantity=5),
        Wanted(part_id="shim", name="Shim", reference=None, quantity=3),
    ]
    report = gathered([CutFact(report=_report()), CutFact(report=_report(10.0))], title="t", wanted=wanted)

    gusset, washer, shim = (next(x for x in report.lines if x.part_id == i) for i in ("gusset", "washer", "shim"))
    assert len(report.lines) == 7
    assert (gusset.wanted, gusset.made, gusset.cuts) == (5, 4, (1, 2))
    assert washer.wanted is None
    assert (shim.wanted, shim.placed, shim.made, shim.cuts) == (3, 0, 0, ()), "no place in any layout"
    assert gusset.area_mm2 == 4 * 7200.0


def test_a_report_of_nothing_is_a_report() -> None:
    report = gathered([], title="nothing")

    assert report.figure("utilisation").value is None
    assert "Nothing" not in yields_page(report) and "dates unknown" in yields_page(report)


def test_every_figure_has_its_definition_and_inputs() -> None:
    assert all(f.definition and f.inputs for f in _four().figures)
    page = html.unescape(yields_page(_four()))
    assert all(f.definition in page for f in _four().figures)
