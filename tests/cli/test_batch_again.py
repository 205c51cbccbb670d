"""A plan of `oddplate batch` taken up again, and the stock that it counts."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from cli.codes import BAD_INPUT, DONE, LEFT_OVER
from cli.main import main
from nesting.errors import InputError
from nesting.files.batch_file import read_order
from nesting.steps.batch_again import remaining
from nesting.steps.batch_former import read_former
from nesting.steps.batch_order import resolve_order

LINES = """
units = "mm"
name = "two"

[clearances]
kerf = 1
gap = 4
margin = 5

{lines}
{pieces}

[search]
seconds = 20
workers = 1
"""
"""An order of lines and pieces given one by one."""


def draw(path: Path, *sizes: tuple[float, float]) -> None:
    drawing = ezdxf.new(units=4)
    for n, (width, height) in enumerate(sizes):
        corners = [(0, 100 * n), (width, 100 * n), (width, 100 * n + height), (0, 100 * n + height)]
        drawing.modelspace().add_lwpolyline(corners, close=True)
    drawing.saveas(path)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a bar to cut; leftovers get little time."""
    monkeypatch.setattr("nesting.batch.planner.TIDY_FILLS", 0.2)
    draw(tmp_path / "bar.dxf", (120, 40))
    return tmp_path


def write_lines(folder: Path, lines: list[str], pieces: list[str]) -> Path:
    path = folder / "two.toml"
    parts = "".join(f'[[part]]\ndrawing = "bar.dxf"\n{line}\n' for line in lines)
    path.write_text(LINES.format(lines=parts, pieces="".join(f"{piece}\n" for piece in pieces)), encoding="utf-8")
    return path


A = 'quantity = 1\nthickness = 6\nreference = "A"\ndue = 2026-12-01'
B = 'quantity = 1\nthickness = 6\nreference = "B"\ndue = 2026-12-20'
P = '[[piece]]\nname = "P"\nwidth = 140\nheight = 60\nthickness = 6'
Q = '[[piece]]\nname = "Q"\nwidth = 150\nheight = 60\nthickness = 6'
SHEET = '[[sheet]]\nname = "P"\nwidth = 150\nheight = 60\nthickness = 6\nprice = 50'


def planned(args: list[str], capsys: pytest.CaptureFixture[str], code: int = DONE) -> dict[str, Any]:
    assert main(["batch", *args, "--force", "--json"]) == code
    plan: dict[str, Any] = json.loads(capsys.readouterr().out)
    return plan


def told(plan: dict[str, Any]) -> dict[str, tuple[int, int, str]]:
    return {x["reference"]: (x["planned"], x["cut"], x["status"]) for x in plan["lines"]}


def test_what_was_cut_counts_for_its_own_line_whatever_becomes_of_the_order(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Cut for A, delivered and taken out; B must still be made, in every plan after it, and A may come back."""
    order = write_lines(folder, [A, B], [P, Q])
    target = folder / "two-plan"
    plan = planned([str(order)], capsys)
    (on,) = (piece["id"] for piece in plan["pieces"] if piece["parts"][0]["reference"] == "A")
    other = "Q" if on == "P" else "P"

    write_lines(folder, [B], [P, Q])
    plan = planned([str(order), "--again", str(target), "--cut", on], capsys)

    assert told(plan) == {"B": (1, 0, "planned")}
    assert {p["id"]: (p["state"], p["parts"][0]["reference"]) for p in plan["pieces"]} == {
        on: ("cut", "A"),
        other: ("to cut", "B"),
    }
    (note,) = plan["notes"]
    assert f"bar (reference A, due 2026-12-01): counted for no line: 1 cut on {on}" in note
    assert [(x["reference"], x["cut"]) for x in plan["unclaimed"]] == [("A", 1)]
    assert json.loads((target / "plan.json").read_text(encoding="utf-8"))["unclaimed"] == plan["unclaimed"]

    write_lines(folder, [B, A], [P, Q])
    plan = planned([str(order), "--again", str(target)], capsys)

    assert told(plan) == {"B": (1, 0, "planned"), "A": (0, 1, "cut")}
    assert plan["unclaimed"] == []


def test_failed_parts_are_those_of_a_line_that_is_cut(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both lines have the same name, and the id of the first is that name."""
    order, target = write_lines(folder, [A, B], [P, Q]), folder / "two-plan"
    plan = planned([str(order)], capsys)
    (on,) = (piece["id"] for piece in plan["pieces"] if piece["parts"][0]["reference"] == "B")

    assert read_former(target, cut=[on], failed={"bar": 1}).failed == {"bar-2": 1}
    assert read_former(target, cut=["P", "Q"], failed={"bar-1": 1}).failed == {"bar": 1}
    with pytest.raises(InputError, match=r"say which: bar-1 \(reference A\), bar-2 \(reference B\)"):
        read_former(target, cut=["P", "Q"], failed={"bar": 1})
    with pytest.raises(InputError, match=r"--failed bar: 1 failed, but only 0 are on pieces that are cut"):
        read_former(target, failed={"bar": 1})


def test_a_part_that_is_cut_does_not_count_for_its_revised_drawing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    order = write_lines(folder, [A], [P, Q])
    (piece,) = planned([str(order)], capsys)["pieces"]
    draw(folder / "bar.dxf", (120, 41))

    plan = planned([str(order), "--again", str(folder / "two-plan"), "--cut", piece["id"]], capsys)

    assert told(plan) == {"A": (1, 0, "planned")}
    assert "its line has another drawing now" in plan["notes"][0]


def test_a_plan_of_an_older_version_is_taken_up_by_what_its_layouts_say(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    order = write_lines(folder, [A, B], [P, Q])
    plan = planned([str(order)], capsys)
    (on,) = (piece["id"] for piece in plan["pieces"] if piece["parts"][0]["reference"] == "B")
    for line in plan["lines"]:
        for key in ("shape_sha256", "thickness_mm", "grade"):
            del line[key]
    del plan["unclaimed"], plan["missing"]
    target = folder / "two-plan"
    (target / "plan.json").write_text(json.dumps(plan), encoding="utf-8")

    write_lines(folder, [B, A], [P, Q])
    plan = planned([str(order), "--again", str(target), "--cut", on], capsys)

    assert told(plan) == {"B": (0, 1, "cut"), "A": (1, 0, "planned")}

    plan["lines"][0]["reference"], plan["lines"][1]["reference"] = "A", "B"
    (target / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    assert main(["batch", str(order), "--again", str(target)]) == BAD_INPUT
    assert f"bar on {on}, which is cut, is not what plan.json takes it for" in capsys.readouterr().err


def test_a_bought_sheet_never_has_the_name_of_another_piece(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The remnant is too small for the bar, so that the sheet is bought and its price told."""
    small = P.replace("140", "50").replace('"P"', '"P 1"')
    order = write_lines(folder, [A], [small, SHEET])

    plan = planned([str(order)], capsys)

    assert [(p["id"], p["stock"], p["price"]) for p in plan["pieces"]] == [("P 2", "P", 50.0)]
    assert [(b["name"], b["count"]) for b in plan["buy"]] == [("P", 1)]
    assert (plan["price"], plan["remnant_worth_mm2"]) == (50.0, 0.0)


def test_a_sheet_of_which_there_are_as_many_as_needed_never_runs_out(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    order, target = write_lines(folder, [A], [SHEET]), folder / "two-plan"
    assert main(["batch", str(order)]) == DONE
    out = capsys.readouterr().out
    assert "buy: 1 x P, " in out and "P 1    buy, cut" in out
    assert "no plan costs less than" not in out  # than nothing: the bound says no more here

    again = [str(order), "--again", str(target)]
    assert main(["batch", *again, "--cut", "P 7"]) == BAD_INPUT
    assert (
        "--cut P 7: the plan has no such piece; it takes the names that the plan shows: P 1" in capsys.readouterr().err
    )
    write_lines(folder, [A], [SHEET, Q.replace('"Q"', '"P 1"')])
    assert main(["batch", *again, "--cut", "P"]) == BAD_INPUT
    assert "P 1: a sheet that is cut has this name in the plan; give the piece another" in capsys.readouterr().err
    write_lines(folder, [A], [SHEET])
    plan = planned([*again, "--cut", "P", "--failed", "bar=1"], capsys)
    assert {p["id"]: p["state"] for p in plan["pieces"]} == {"P 1": "cut", "P 2": "to cut"}
    plan = planned([*again, "--missing", "P 2"], capsys)
    assert {p["id"]: p["state"] for p in plan["pieces"]} == {"P 1": "cut", "P 3": "to cut"}
    assert plan["missing"] == ["P"]


def test_enough_sheets_for_every_part_of_a_drawing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line, two parts in its drawing, and a sheet takes one of them."""
    order = write_lines(folder, [A], [SHEET])
    draw(folder / "bar.dxf", (120, 40), (120, 45))

    assert planned([str(order)], capsys)["buy"][0]["count"] == 2


def test_what_is_missing_stays_missing_in_the_plans_after_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order, target = write_lines(folder, [A], [P, Q]), folder / "two-plan"
    assert [p["id"] for p in planned([str(order)], capsys)["pieces"]] == ["P"]
    assert [p["id"] for p in planned([str(order), "--again", str(target), "--missing", "P"], capsys)["pieces"]] == ["Q"]

    plan = planned([str(order), "--again", str(target), "--missing", "Q"], capsys, LEFT_OVER)

    assert (plan["pieces"], plan["missing"]) == ([], ["P", "Q"])
    assert plan["notes"][0].startswith("P is left aside: an earlier plan has it as missing")


def test_an_unknown_grade_is_accepted_on_plate_of_a_thickness_written_otherwise(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = A.replace("thickness = 6", 'thickness = "3/16 in"\ngrade = "S235JR"')
    order = write_lines(folder, [line], [P.replace("thickness = 6", "thickness = 4.76")])

    plan = planned([str(order), "--accept-unknown-grade"], capsys)

    assert told(plan) == {"A": (1, 0, "planned")}
    assert planned([str(order)], capsys, LEFT_OVER)["lines"][0]["status"] == "impossible"


def test_a_plan_that_cannot_be_read_is_told_with_file_and_key(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order, target = write_lines(folder, [A], [P]), folder / "two-plan"
    plan = planned([str(order)], capsys)
    del plan["pieces"][0]["stock"]
    plan["lines"][0]["failed"] = "one"
    (target / "plan.json").write_text(json.dumps(plan), encoding="utf-8")

    assert main(["batch", str(order), "--again", str(target)]) == BAD_INPUT

    err = capsys.readouterr().err
    assert "plan.json: pieces.0.stock: Field required; lines.0.failed: " in err
    assert "mend the file, or plan the order anew" in err


def test_a_plan_cut_off_while_it_was_replaced_is_taken_up_again(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Between the two renames the former plan stands aside, under a hidden name."""
    order, target = write_lines(folder, [A], [P]), folder / "two-plan"
    planned([str(order)], capsys)
    target.rename(folder / ".two-plan.before")

    assert main(["batch", str(order), "--again", str(target), "--cut", "P", "--force"]) == DONE

    out, err = capsys.readouterr()
    assert "an earlier run was cut off while it replaced this folder; the former one is put back" in err
    assert "P      cut" in out


def test_a_layout_is_kept_only_where_its_parts_may_still_lie_as_they_do(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    order, target = write_lines(folder, [A], [P]), folder / "two-plan"
    planned([str(order)], capsys)
    former = read_former(target)

    _, kept = remaining(resolve_order(read_order(order), former=former, today=date(2026, 11, 26)))
    assert [column.counts.total() for column in kept] == [1]

    write_lines(folder, [A + "\nturns = [90]"], [P])
    _, kept = remaining(resolve_order(read_order(order), former=former, today=date(2026, 11, 26)))
    assert kept == []


def test_a_leftover_that_the_plan_does_not_use_may_be_missing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """P is cut into and fails; the next plan keeps off Q, and the one after it knows."""
    order, target = write_lines(folder, [A], [P, Q, SHEET.replace('"P"', '"S"')]), folder / "two-plan"
    assert [p["id"] for p in planned([str(order)], capsys)["pieces"]] == ["P"]
    again = [str(order), "--again", str(target)]

    assert main(["batch", *again, "--missing", "R", "--force"]) == BAD_INPUT
    assert "--missing R: neither the plan nor the order has such a piece; they have P, Q" in capsys.readouterr().err
    assert main(["batch", *again, "--missing", "S", "--force"]) == BAD_INPUT
    assert "--missing S: the plan buys none of it" in capsys.readouterr().err

    plan = planned([*again, "--missing", "Q", "--missing", "Q", "--cut", "P", "--failed", "bar=1"], capsys)

    assert [(p["id"], p["state"]) for p in plan["pieces"]] == [("P", "cut"), ("S 1", "to cut")]
    assert plan["missing"] == ["Q"]
    assert planned([*again, "--missing", "Q"], capsys)["missing"] == ["Q"]
