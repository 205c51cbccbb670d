"""Options read as the keys of a job file."""

from pathlib import Path

import click
import pytest

from cli import options


@pytest.mark.parametrize(
    ("text", "file", "quantity"),
    [
        ("bracket.dxf:3", "bracket.dxf", 3),
        ("bracket.dxf", "bracket.dxf", 1),
        ("bracket.dxf:fill", "bracket.dxf", "fill"),
        (r"C:\a b.dxf:3", r"C:\a b.dxf", 3),
        (r"C:\a b.dxf", r"C:\a b.dxf", 1),
        ("a:b.dxf:12", "a:b.dxf", 12),
        ("x.dxf:-2", "x.dxf", -2),
    ],
)
def test_a_part_is_a_file_and_a_count(text: str, file: str, quantity: object):
    assert options.part_entry(text) == {"drawing": str(Path(file).absolute()), "quantity": quantity}


@pytest.mark.parametrize(
    ("text", "width", "height"),
    [
        ("1250x2500", "1250 mm", "2500 mm"),
        ("48inx96in", "48in", "96in"),
        ("4 ft x 8 ft", "4 ft", "8 ft"),
        ("12 3/8 in X 10", "12 3/8 in", "10 mm"),
    ],
)
def test_a_plate_is_a_size(text: str, width: str, height: str):
    assert options.plate_entry(text) == {"width": width, "height": height}


def test_or_a_file_even_with_an_x_in_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    assert options.plate_entry("box.dxf") == {"drawing": str(tmp_path / "box.dxf")}
    (tmp_path / "3x4").write_text("")
    assert options.plate_entry("3x4") == {"drawing": str(tmp_path / "3x4")}


def test_lengths_without_a_unit_are_millimetres():
    assert options.length("6") == "6 mm"
    assert options.length("1/4") == "1/4 mm"
    assert options.length("1/4 in") == "1/4 in"
    assert options.length(None) is None


def test_corners_may_bulge():
    assert options.corners("0,0 10in,0 10,5,1", "--corners") == [
        ["0 mm", "0 mm"],
        ["10in", "0 mm"],
        ["10 mm", "5 mm", 1.0],
    ]
    with pytest.raises(click.BadParameter, match="'7' is not a corner"):
        options.corners("0,0 7", "--corners")
    with pytest.raises(click.BadParameter, match="'b' is not a number"):
        options.corners("0,0,b", "--corners")


def test_rules_go_to_the_parts_they_name():
    parts = [options.part_entry("a.dxf:2"), options.part_entry("b.dxf")]
    rules = [("a.dxf", "turns=90"), ("a.dxf", "flip = true"), ("all", "grade=S235"), ("b.dxf", "thickness=6")]
    options.apply_rules(parts, rules)
    assert {k: v for k, v in parts[0].items() if k != "drawing"} == {
        "quantity": 2,
        "turns": 90,
        "flip": True,
        "grade": "S235",
    }
    assert parts[1]["thickness"] == "6 mm"
    with pytest.raises(click.BadParameter, match=r"'c\.dxf' is not among the files"):
        options.apply_rules(parts, [("c.dxf", "turns=90")])
    with pytest.raises(click.BadParameter, match="is not KEY=VALUE"):
        options.apply_rules(parts, [("a.dxf", "turns")])


def test_unit_rules_name_all_or_a_path():
    assert options.unit_rules(["mm", "parts/=inch"]) == ((None, "mm"), (Path("parts"), "inch"))


def test_what_was_not_given_leaves_no_key():
    assert options.without_none({"a": None, "b": {"c": None}, "d": [], "e": 0, "f": False}) == {
        "e": 0,
        "f": False,
    }
