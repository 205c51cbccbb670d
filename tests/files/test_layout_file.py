"""Layouts survive the disk, and what is wrong in a file is told with its place."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, composite
from strategies import contours, corners, curves, points, poses

from nesting.clearances import Clearances
from nesting.demand import Demand, Turns
from nesting.errors import InputError
from nesting.files.layout_file import SCHEMA, layout_id, load_layout, save_layout
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Pose
from nesting.layout import FreeRest, Layout, LeftOver, Placement, Pulled, SearchFacts
from nesting.part import Mark, Part, TextMark
from nesting.plate import Capture, KeepOut, Plate

names = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
maybe = st.one_of(st.none(), st.floats(0.5, 50.0))
all_turns = st.sampled_from([Turns(), Turns.fixed(), Turns.steps(22.5), Turns(rule="grain")])


@composite
def captures(draw: DrawFn) -> Capture:
    return Capture(
        who=draw(st.one_of(st.none(), names)),
        when=draw(st.one_of(st.none(), st.dates())),
        photo=draw(st.one_of(st.none(), names)),
        set_up_by=tuple(draw(st.lists(points(), max_size=2))),
    )


@composite
def layouts(draw: DrawFn) -> Layout:
    parts = [
        Part(
            id=f"p{i}",
            name=draw(names),
            outer=draw(contours()),
            holes=(Contour.of_points(draw(corners())),),
            marks=tuple(Mark(kind="bend", curve=c) for c in draw(st.lists(curves(), max_size=1))),
            texts=(TextMark(text=draw(names), at=draw(points()), height_mm=3.0),),
            thickness_mm=draw(maybe),
            grade=draw(st.one_of(st.none(), names)),
        )
        for i in range(draw(st.integers(1, 2)))
    ]
    quantities = st.one_of(st.none(), st.integers(1, 9))
    return Layout(
        plate=Plate(
            name=draw(names),
            outer=Contour.of_points(draw(corners())),
            keep_outs=(
                KeepOut(
                    contour=Contour.of_points(draw(corners())),
                    kind="no part, lead or rapid",
                    reason=draw(names),
                ),
            ),
            grain_deg=draw(maybe),
            uncertainty_mm=draw(st.floats(0.0, 3.0)),
            settling_mm=draw(st.floats(0.0, 3.0)),
            certificate=draw(st.one_of(st.none(), names)),
            capture=draw(st.one_of(st.none(), captures())),
        ),
        clearances=Clearances(kerf_mm=1.5, gap_mm=6.0, margin_mm=10.0, sources={"kerf_mm": draw(names)}),
        demands=tuple(
            Demand(
                part=p,
                quantity=draw(quantities),
                turns=draw(all_turns),
                reference=draw(st.one_of(st.none(), names)),
            )
            for p in parts
        ),
        placements=tuple(
            Placement(number=i, part_id=draw(st.sampled_from(parts)).id, pose=draw(poses()))
            for i in range(1, draw(st.integers(0, 3)) + 1)
        ),
        left_over=(LeftOver(part_id="p0", count=2, reason=draw(names)),),
        search=SearchFacts(seed=1, steps=20, seconds=0.5, poses_tried=10**12, threads=2),
        id=draw(st.sampled_from(["", "abc"])),
    )


@given(layout=layouts())
@settings(max_examples=20)
def test_layouts_survive_the_disk_to_the_last_digit(layout: Layout, tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.mktemp("round trip") / "läyout.json"

    written = save_layout(layout, path)

    assert written == replace(layout, id=layout.id or layout_id(layout))
    assert load_layout(path) == written


def plain() -> Layout:
    bored = Part(
        id="a",
        name="bracket",
        outer=Contour.of_rectangle(100.0, 50.0),
        holes=(Contour(curves=(circle((20.0, 20.0), 5.0),)),),
    )
    return Layout(
        plate=Plate(name="sheet", outer=Contour.of_rectangle(1000.0, 500.0)),
        clearances=Clearances(kerf_mm=1.5, gap_mm=6.0, margin_mm=10.0),
        demands=(Demand(part=bored),),
        placements=(Placement(number=1, part_id="a", pose=Pose(x_mm=10.0, y_mm=10.0)),),
        search=SearchFacts(seed=1, steps=20, seconds=0.5, poses_tried=10, threads=2),
    )


def test_what_a_search_found_out_survives_and_older_files_do_without(tmp_path: Path) -> None:
    """The bound and the free rest were not always there."""
    rest = FreeRest(area_mm2=1.25, circle_diameter_mm=2.5, rectangle_mm=(3.0, 1.5))
    layout = plain()
    assert layout.search is not None
    told = replace(layout.search, bound_utilisation=0.75, pulled=Pulled(to="left", before=rest, after=rest))
    save_layout(replace(layout, search=told), tmp_path / "layout.json")
    assert load_layout(tmp_path / "layout.json").search == told

    document = json.loads((tmp_path / "layout.json").read_text(encoding="utf-8"))
    del document["search"]["bound_utilisation"], document["search"]["pulled"]
    (tmp_path / "older.json").write_text(json.dumps(document), encoding="utf-8")

    assert load_layout(tmp_path / "older.json").search == layout.search


def test_id_tells_layouts_apart_but_not_how_long_they_took() -> None:
    layout = plain()
    assert layout.search is not None
    slower = replace(layout, search=replace(layout.search, seconds=99.0))
    moved = replace(layout, placements=(replace(layout.placements[0], pose=Pose(x_mm=10.0, y_mm=10.5)),))

    assert layout_id(layout) == layout_id(slower) != layout_id(moved)
    assert len(layout_id(layout)) == 12


def test_document_names_its_schema_and_id(tmp_path: Path) -> None:
    written = save_layout(plain(), tmp_path / "layout.json")
    document = json.loads((tmp_path / "layout.json").read_text(encoding="utf-8"))

    assert document["schema"] == SCHEMA == "oddplate-layout/1"
    assert document["id"] == written.id
    assert [p.name for p in tmp_path.iterdir()] == ["layout.json"]


def test_interrupted_writing_leaves_the_former_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "layout.json"
    save_layout(plain(), path)
    before = path.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("nesting.files.layout_file.os.fsync", full)
    with pytest.raises(OSError, match="No space left"):
        save_layout(replace(plain(), id="other"), path)

    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["layout.json"]


def test_file_edited_by_hand_with_other_line_ends_and_a_mark_at_its_start(tmp_path: Path) -> None:
    path = tmp_path / "layout.json"
    written = save_layout(plain(), path)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))

    assert load_layout(path) == written


FIRST_CURVE = ("demands", 0, "part", "outer", "curves", 0)


@pytest.mark.parametrize(
    ("at", "value", "match"),
    [
        (("schema",), "oddplate-layout/9", r"schema is 'oddplate-layout/9', expected 'oddplate-layout/1'"),
        (("plate",), None, r"plate: expected a table of keys, found null"),
        (("placements", 0, "part_id"), "b", r"placements\[0\]\.part_id is 'b', not a demand; known parts: a"),
        (("placements", 0, "pose", "turn_dg"), 90.0, r"placements\[0\]\.pose\.turn_dg is not a known key"),
        (("placements", 0, "pose", "x_mm"), "10", r"placements\[0\]\.pose\.x_mm: .*number, found \"10\""),
        (
            ("placements", 0, "pose", "x_mm"),
            float("nan"),
            r"placements\[0\]\.pose\.x_mm is nan, expected a finite",
        ),
        (
            ("plate", "uncertainty_mm"),
            float("inf"),
            r"plate\.uncertainty_mm is inf, expected a finite number",
        ),
        (("plate", "uncertainty_mm"), -1.0, r"plate: sheet: uncertainty must be 0 or more, got -1.0"),
        (("plate", "settling_mm"), -1.0, r"plate: sheet: settling must be 0 or more, got -1.0"),
        (("demands", 0, "quantity"), 0, r"demands\[0\]: a: quantity must be 1 or more, got 0"),
        (
            ("demands", 0, "turns", "rule"),
            "often",
            r"demands\[0\]\.turns\.rule: .*'any', 'listed' or 'grain'",
        ),
        (("clearances", "gap_mm"), 1.0, r"clearances: gap 1 mm is less than the kerf 1.5 mm"),
        (
            (*FIRST_CURVE, "type"),
            "wiggle",
            r"curves\[0\]\.type: expected one of arc, ellipse, line, polyline, spline",
        ),
        ((*FIRST_CURVE, "end"), [1.0], r"demands\[0\]\.part\.outer\.curves\[0\]\.end\[1\]: is missing"),
        ((*FIRST_CURVE[:4], "curves"), [], r"part\.outer: a contour needs at least one curve"),
        (
            ("demands", 0, "part", "holes", 0, "curves", 0, "radius_mm"),
            -5.0,
            r"needs a radius above 0, got -5.0",
        ),
    ],
)
def test_wrong_values_are_told_with_file_and_key(tmp_path: Path, at: tuple[Any, ...], value: Any, match: str) -> None:
    path = tmp_path / "layout.json"
    save_layout(plain(), path)
    document = json.loads(path.read_text(encoding="utf-8"))
    *way, last = at
    inner = document
    for key in way:
        inner = inner[key]
    inner[last] = value
    path.write_text(json.dumps(document), encoding="utf-8")

    with pytest.raises(InputError, match=match) as caught:
        load_layout(path)
    assert str(path) in str(caught.value)


def test_missing_key_is_told(tmp_path: Path) -> None:
    path = tmp_path / "layout.json"
    save_layout(plain(), path)
    document = json.loads(path.read_text(encoding="utf-8"))
    del document["plate"], document["placements"][0]["pose"]
    path.write_text(json.dumps(document), encoding="utf-8")

    with pytest.raises(InputError, match=r"plate: is missing; placements\[0\]\.pose: is missing"):
        load_layout(path)


@pytest.mark.parametrize(
    ("content", "match"),
    [
        (b"", r"line 1 column 1: not JSON"),
        (b'{"schema": \n oops}', r"line 2 column 2: not JSON"),
        (b"[1, 2]", r"holds a list, expected an object"),
        (b"\xff\xfe\x00", r"is not UTF-8 text \(byte 0\)"),
        (b"{}", r"schema is None"),
        (b"[" * 100_000, r"nested too deeply"),
    ],
)
def test_other_files_are_refused(tmp_path: Path, content: bytes, match: str) -> None:
    path = tmp_path / "layout.json"
    path.write_bytes(content)
    with pytest.raises(InputError, match=match):
        load_layout(path)


def test_absent_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.json: cannot be read: No such file"):
        load_layout(tmp_path / "none.json")
