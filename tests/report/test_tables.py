"""Tables: every total is the sum of what stands above it, in millimetres and in inches."""

import csv
import io
from dataclasses import replace

import pytest

from nesting.layout import Layout
from nesting.report.figures import figures
from nesting.report.tables import LIFT_MARK, balance_table, parts_csv, parts_table, remnants_table
from nesting.report.wording import duration, in_unit, measures
from nesting.shop import Shop
from nesting.units import Unit

UNITS: tuple[Unit, ...] = ("mm", "inch")


@pytest.mark.parametrize("unit", UNITS)
def test_totals_are_sums_of_the_shown_values(sample: Layout, unit: Unit) -> None:
    table, totals = parts_table(figures(sample, Shop(amps=65.0)), unit)

    for name, shown in (("net area", totals.area), ("mass", totals.mass), ("cut", totals.cut_length)):
        column = next(i for i, h in enumerate(table.headings) if h.startswith(f"{name}, "))
        digits = len(shown.partition(".")[2])
        assert f"{sum(float(row[column]) for row in table.rows):.{digits}f}" == shown == table.total[column]
        for row in table.rows:
            assert f"{int(row[5]) * float(row[column - 1]):.{digits}f}" == row[column]
    assert table.total[-1] == str(totals.pierces) == str(sum(int(row[-1]) for row in table.rows))


@pytest.mark.parametrize("unit", UNITS)
def test_balance_table_adds_up_to_the_plate(sample: Layout, unit: Unit) -> None:
    report = figures(sample, Shop())

    rows = balance_table(report, unit).rows

    total = sum(float(row[1]) for row in rows[:4])
    assert float(rows[4][1]) == pytest.approx(total, abs=1e-9)
    assert float(rows[4][1]) == pytest.approx(float(rows[5][1]), rel=1e-4)
    assert rows[0][1] == parts_table(report, unit)[1].area
    assert rows[2][1] == remnants_table(report, unit).total[1]


def test_units_of_the_inch_page(sample: Layout) -> None:
    table, _ = parts_table(figures(sample, Shop()), "inch")

    assert "size, in" in table.headings
    assert "mass of one, lb" in table.headings
    gusset = next(row for row in table.rows if row[1] == "Gusset")
    assert gusset[3] == "4.724 x 4.724"
    assert measures("inch")["mass"].full(0.45359237) == "1.000 lb"


def test_unknown_is_written_as_unknown(sample: Layout) -> None:
    layout = replace(sample, plate=replace(sample.plate, thickness_mm=None))

    table, totals = parts_table(figures(layout, Shop()), "mm")

    assert totals.mass == "unknown"
    assert {row[8] for row in table.rows} == {"unknown"}


def test_csv_has_units_in_its_column_names_and_reads_back(sample: Layout) -> None:
    text = parts_csv(figures(sample, Shop(amps=65.0)))

    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert text.endswith("\r\n")
    assert [r["part"] for r in rows] == ["ring", "disc", "base", "angle", "gusset", "washer"]
    assert rows[2]["name"] == "Base <foot> & cap"
    assert float(rows[4]["area_mm2"]) == 2 * float(rows[4]["area_each_mm2"]) == 14400.0
    assert (rows[4]["wanted"], rows[4]["left_over"]) == ("3", "1")
    assert rows[5]["wanted"] == "as many as fit"
    assert rows[5]["numbers"] == "9 10 11 12"
    assert {r["layout_id"] for r in rows} == {sample.id}


def test_pieces_above_the_lift_limit_are_marked(sample: Layout) -> None:
    report = figures(sample, Shop(lift_limit_kg=1.5))

    marked = [row[1] for row in parts_table(report, "mm")[0].rows if row[1].endswith(LIFT_MARK)]

    assert [m.removesuffix(LIFT_MARK) for m in marked] == ["Pump ring", "Base <foot> & cap"]
    assert remnants_table(report, "mm").rows[0][0] == "R1" + LIFT_MARK


def test_runs_of_numbers_are_drawn_together(sample: Layout) -> None:
    table, _ = parts_table(figures(sample, Shop()), "mm")

    assert [row[2] for row in table.rows][-3:] == ["5, 6", "7, 8", "9-12"]


def test_durations() -> None:
    assert [duration(s) for s in (None, 0.4, 193.24, 3725.0)] == [
        "unknown", "0 min 00 s", "3 min 13 s", "1 h 02 min 05 s",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("needed 12.7 mm, its length", "needed 12.7 mm (0.500 in), its length"),
        ("off by -2.54 mm", "off by -2.54 mm (-0.100 in)"),
        ("sheets of 3-6.35 mm", "sheets of 3-6.35 mm (0.250 in)"),
        ("at (25.4, -50.8) mm", "at (25.4, -50.8) mm ((1.000, -2.000) in)"),
        ("3e-05 mm deep, 2.54e+01 mm long", "3e-05 mm (0.000 in) deep, 2.54e+01 mm (1.000 in) long"),
        ("12 mm2 and 5 m", "12 mm2 and 5 m"),
    ],
)
def test_inches_stand_beside_millimetres(text: str, told: str) -> None:
    assert in_unit(text, "inch") == told
    assert in_unit(text, "mm") == text
