"""Strict documents: all faults at once, each with its line and key."""

import contextlib
import re
import tomllib
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from nesting.errors import InputError, JobError
from nesting.files.documents import Entry, entry_of_json, key_lines, make_document, read_document
from nesting.files.job import JobFile
from nesting.lengths import parse_length, parse_thickness


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("12 mm", 12.0),
        ("1/2 in", 12.7),
        ("12 3/8 in", 314.325),
        ('3/8"', 9.525),
        (".5in", 12.7),
        ("2 ft", 609.6),
        ("1.5 cm", 15.0),
        ("5", 5.0),
        ("-3 mm", -3.0),
    ],
)
def test_lengths_are_read_with_their_unit(text: str, mm: float):
    assert parse_length(text, "mm") == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize("text", ["", "mm", "1/0 in", "12 parsec", "1 2 3", "1e400", "nan", "twelve"])
def test_what_is_no_length_is_refused(text: str):
    with pytest.raises(InputError):
        parse_length(text, "mm")


def test_a_bare_number_needs_a_unit_from_somewhere():
    with pytest.raises(InputError, match="12 has no unit"):
        parse_length("12", None)


def test_a_gauge_needs_its_metal():
    assert parse_thickness("16 ga mild steel", "mm") == pytest.approx(0.0598 * 25.4)
    assert parse_thickness("1/4 in", "mm") == pytest.approx(6.35)
    with pytest.raises(InputError, match="which metal"):
        parse_thickness("16 ga", "mm")


def write(folder: Path, text: str) -> Path:
    path = folder / "my job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(folder: Path, text: str) -> list[str]:
    path = write(folder, text)
    with pytest.raises(JobError) as caught:
        read_document(path, JobFile, what="job file")
    return [line.removeprefix(f"{path}, ") for line in str(caught.value).splitlines()]


def test_all_faults_come_at_once_with_line_and_key(tmp_path: Path):
    found = faults(
        tmp_path,
        """\
units = "mm"

[plate]
widht = 1200
height = "tall"

[clearances]
kerf = -1
gap = true

[[part]]
drawing = "a.dxf"
quantity = 0

[[part]]
drawing = 7
turns = "sideways"
flip = "yes"

[search]
seed = 1.5

[extra]
""",
    )
    assert found == [
        "line 4: plate.widht: unknown key; did you mean 'width'?",
        'line 5: plate.height: \'tall\' is not a length; write a number with a unit, such as "12 mm" or "1/2 in"',
        "line 8: clearances.kerf: expected 0 or more, got -1 mm",
        'line 9: clearances.gap: expected a length, a number or a text such as "12 mm", got true or false (True)',
        'line 13: part.1.quantity: expected a whole number from 1 to 100000, or "fill" for as many as fit, got 0',
        "line 16: part.2.drawing: expected a text in quotes, got a number (7)",
        'line 17: part.2.turns: expected "any", "fixed", "grain", a step in degrees or a list of degrees, '
        "got 'sideways'",
        "line 18: part.2.flip: expected true or false, got a text ('yes')",
        "line 21: search.seed: expected a whole number, got a number (1.5)",
        "line 23: extra: unknown key; known here: units, name, shop, plate, clearances, drawings, part, search, output",
    ]


def test_missing_keys_are_named_at_their_table(tmp_path: Path):
    found = faults(tmp_path, 'units = "mm"\n[plate]\nwidth = 5\nheight = 5\n[[part]]\nquantity = 2\n')
    assert found == ["line 5: part.1.drawing: is missing"]


def test_a_plate_has_one_shape(tmp_path: Path):
    part = '[[part]]\ndrawing = "a.dxf"\n'
    both = faults(tmp_path, f'units = "mm"\n[plate]\ndrawing = "p.dxf"\nwidth = 5\nheight = 5\n{part}')
    half = faults(tmp_path, f'units = "mm"\n[plate]\nwidth = 5\n{part}')
    assert both == ["line 2: plate: say the shape once: drawing, or corners, or width and height, or rack"]
    assert half == ["line 2: plate: a plain rectangle needs both width and height"]


def test_without_units_bare_numbers_are_refused(tmp_path: Path):
    found = faults(tmp_path, '[plate]\nwidth = "5 mm"\nheight = 7\n[[part]]\ndrawing = "a.dxf"\n')
    assert found == ['line 3: plate.height: 7 has no unit: say units = "mm" or "inch" at the top, or write "7 mm"']


def test_an_unknown_unit_is_one_fault(tmp_path: Path):
    found = faults(tmp_path, 'units = "smoots"\n[plate]\nwidth = 5\nheight = 7\n[[part]]\ndrawing = "a.dxf"\n')
    assert found == ["line 1: units: unit 'smoots' is not known; use one of mm, cm, m, inch, foot"]


def test_a_slip_of_syntax_is_told_with_its_line(tmp_path: Path):
    path = write(tmp_path, 'units = "mm"\n[plate\n')
    with pytest.raises(JobError, match=r"my job\.toml: not valid TOML: .*line 2"):
        read_document(path, JobFile, what="job file")


def test_a_missing_file_and_wrong_bytes_are_told(tmp_path: Path):
    with pytest.raises(JobError, match="no such job file"):
        read_document(tmp_path / "none.toml", JobFile, what="job file")
    (tmp_path / "utf16.toml").write_bytes('units = "mm"'.encode("utf-16"))
    with pytest.raises(JobError, match="not UTF-8"):
        read_document(tmp_path / "utf16.toml", JobFile, what="job file")
    with pytest.raises(JobError, match="cannot be read"):
        read_document(tmp_path, JobFile, what="job file")


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path: Path):
    text = 'units = "mm"\r\n[plate]\r\nwidth = 5\r\nheight = 7\r\n[[part]]\r\ndrawing = "a.dxf"\r\n'
    path = tmp_path / "w.toml"
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert read_document(path, JobFile, what="job file").plate.height == 7.0


def test_values_of_the_command_line_win_and_are_blamed_there(tmp_path: Path):
    text = 'units = "mm"\n[plate]\nwidth = 5\nheight = 7\n[[part]]\ndrawing = "a.dxf"\n[search]\nseed = 3\n'
    path = write(tmp_path, text)
    job = read_document(path, JobFile, what="job file", overrides={"search": {"seed": 9}})
    assert (job.search.seed, job.plate.width) == (9, 5.0)
    with pytest.raises(JobError, match=r"^command line: search\.seed: "):
        read_document(path, JobFile, what="job file", overrides={"search": {"seed": -1}})


def test_lines_are_found_through_strings_comments_and_lists():
    text = '''\
a = """
[not.a.table]
b = 1
"""
c = [ # [
  [1, 2],
  "]",
]
d.e = {f = 1}
[[t]]
"quoted key" = 1
[[t]]
x = ''
[t.u]
y = "#"
'''
    tomllib.loads(text)
    assert key_lines(text) == {
        ("a",): 1,
        ("c",): 5,
        ("d", "e"): 9,
        ("t", 0): 10,
        ("t", 0, "quoted key"): 11,
        ("t", 1): 12,
        ("t", 1, "x"): 13,
        ("t", 1, "u"): 14,
        ("t", 1, "u", "y"): 15,
    }


@given(st.text(max_size=60))
def test_no_text_makes_the_length_reader_fail_otherwise(text: str):
    """Whatever is written there, it is a length or a clear refusal."""
    with contextlib.suppress(InputError):
        assert isinstance(parse_length(text, "mm"), float)


class Bounded(Entry):
    """One value of each kind of bound."""

    least: Annotated[int, Field(ge=1)] = 1
    above: Annotated[float, Field(gt=0.0, allow_inf_nan=False)] = 1.0
    most: Annotated[int, Field(le=9)] = 9
    below: Annotated[int, Field(lt=9)] = 1
    word: Annotated[str, Field(min_length=1)] = "x"
    day: date | None = None
    other: bytes = b""


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"least": 0}, "least: expected 1 or more, got 0"),
        ({"above": -0.5}, "above: expected more than 0, got -0.5"),
        ({"above": float("nan")}, "above: expected a finite number, got nan"),
        ({"most": 10}, "most: expected 9 or less, got 10"),
        ({"below": 9}, "below: expected less than 9, got 9"),
        ({"word": ""}, "word: expected a text that is not empty, got ''"),
        ({"other": 1}, "other: expected a valid bytes, got 1"),
    ],
)
def test_bounds_are_told_in_our_words(values: dict[str, Any], told: str):
    with pytest.raises(JobError, match=f"^command line: {re.escape(told)}$"):
        make_document(values, Bounded)


def test_a_record_is_read_from_json_with_its_keys():
    assert entry_of_json('{"day": "2026-05-31"}', Bounded, "capture").day == date(2026, 5, 31)
    with pytest.raises(JobError, match=r"^capture\.least: expected 1 or more, got 0; capture\.day: expected a date"):
        entry_of_json('{"least": 0, "day": "2026-13-01"}', Bounded, "capture")
    with pytest.raises(JobError, match=r"^capture: "):
        entry_of_json("7", Bounded, "capture")
