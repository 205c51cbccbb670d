"""The cut sheet: everything the cutter needs is on it, nothing is cut off, and its sums are those of the report."""

import re
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
import shapely
from printed import pictures, sizes_mm, words

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing.cut_order import CutOrder, cut_order
from nesting.files.layout_file import layout_id
from nesting.fit.finding import FitFinding
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, LeftOver, Placement
from nesting.part import Part
from nesting.plate import Capture, KeepOut, Plate
from nesting.remnant import Balance, balance
from nesting.report.facts import YieldReport
from nesting.report.figures import figures
from nesting.report.sheet.choice import choose_form
from nesting.report.sheet.corners import tape_picture
from nesting.report.sheet.cut_sheet import HEAVY, TICK, CutSheet, cut_sheet
from nesting.report.sheet.files import Sheets, sheets
from nesting.report.sheet.labels import part_labels
from nesting.report.sheet.marks import Words
from nesting.report.sheet.picture import layout_picture
from nesting.report.sheet.words import Lengths
from nesting.shop import Paper, Shop
from nesting.tables import CutRow

SHOP = Shop(name="Sample shop", amps=45.0)


Measured = tuple[Balance, CutOrder, YieldReport]
_MEASURED: dict[tuple[str, str], Measured] = {}


def measured(layout: Layout, shop: Shop) -> Measured:
    """Balance, order and figures of a layout, worked out once."""
    key = layout_id(layout), repr(shop)
    if key not in _MEASURED:
        areas, order = balance(layout, shop), cut_order(layout)
        _MEASURED[key] = areas, order, figures(layout, shop, areas=areas, travel_mm=order.travel_mm)
    return _MEASURED[key]


def printed(layout: Layout, *, shop: Shop = SHOP, paper: Paper = "A4", lengths: Lengths | None = None) -> Sheets:
    """Cut sheet and labels of a layout."""
    areas, order, report = measured(layout, shop)
    lengths = lengths or Lengths()
    return sheets(layout, report, areas=areas, order=order, title="Pump job", lengths=lengths, paper=paper)


def told(layout: Layout, *, shop: Shop = SHOP, lengths: Lengths | None = None, **more: Any) -> CutSheet:
    """What the sheet of a layout says."""
    _, order, report = measured(layout, shop)
    return cut_sheet(layout, report, order, title="Pump job", lengths=lengths or Lengths(), **more)


def rectangles(
    plate_mm: tuple[float, float],
    parts: list[tuple[str, float, float, int]],
    *,
    gap: float = 6.0,
    margin: float = 10.0,
    **plate: Any,
) -> Layout:
    """Rectangles in rows from the lower left; what does not fit is left over."""
    width, height = plate_mm
    x = y = margin
    row, demands, placements, left = 0.0, [], [], []
    for name, w, h, count in parts:
        part = Part(id=name, name=name, outer=Contour.of_rectangle(w, h), source=f"{name}.dxf")
        demands.append(Demand(part=part, quantity=count))
        for k in range(count):
            if x + w > width - margin:
                x, y, row = margin, y + row + gap, 0.0
            if y + h > height - margin:
                left.append(LeftOver(part_id=name, count=count - k, reason="no free place was found"))
                break
            placements.append(Placement(number=len(placements) + 1, part_id=name, pose=Pose(x_mm=x, y_mm=y)))
            x, row = x + w + gap, max(row, h)
    known: dict[str, Any] = {"name": "R-1", "outer": Contour.of_rectangle(width, height), "thickness_mm": 6.0}
    return Layout(
        plate=Plate(**{**known, **plate}),
        clearances=Clearances(kerf_mm=1.5, gap_mm=gap, margin_mm=margin, lead_in_mm=6.0),
        demands=tuple(demands),
        placements=tuple(placements),
        left_over=tuple(left),
        id="0123456789ab",
    )


def captured(layout: Layout) -> Layout:
    """The layout with all that can be known of its plate."""
    capture = Capture(who="A. Sample", when=date(2026, 11, 20), photo="IMG 42.jpg", set_up_by=((0, 0), (1000, 400)))
    known = replace(layout.plate, grade="S355J2+N", certificate="3.1/0815", capture=capture, parent="P-006", place="B2")
    demands = tuple(replace(d, reference="4711/12") for d in layout.demands)
    return replace(layout, plate=known, demands=demands)


def test_the_printed_sheet_says_everything(sample: Layout):
    text = words(printed(captured(sample)).pdf)
    for said in (
        "Plate Rack B, shelf 2", "Pump job", "layout 3f9c0a7be41d", "Sample shop",
        "S355J2+N", "H 4711", "3.1/0815", "B2", "1.5 mm",
        "Drawing is finished size: the controller offsets the kerf.",
        "Check by dry run along the outline, torch off.",
        "Corner A to the table's zero: torch over A, set the readout to X 0.0 Y 0.0.",
        "Torch over C: it must read X 1000.0 Y 400.0",
        "A – C 1077 mm",
        "Stop if one is off by more than 3 mm",
        "Outline by tape readings, uncertain by 1 mm",
        "by A. Sample, on 2026-11-20, photo IMG 42.jpg",
        "Time by plasma 45 A, mild steel, 6 mm row, best quality (operator manual 809240",
        "Base <foot> & cap", "base.dxf · 5c5c5c5c", "order 4711/12",
        "of each part the holes first",
        "R1 · 6 mm · S355J2+N · heat H 4711",
        "1 x Gusset: no free place was found in the time given",
        "grain", "clamp", "cut by", "P-006",
        "Fire: move or shield everything that burns within 35 ft",
        "NIOSH 94-110",
        "Local codes, a licensed or qualified person and the machine's own manual come first.",
    ):  # fmt: skip
        assert said in text, said


def test_the_front_has_it_all_and_the_back_has_the_cautions(sample: Layout):
    sheet = printed(captured(sample)).pdf
    front, back = (words(sheet, page) for page in (1, 2))
    assert sizes_mm(sheet) == [(210.0, 297.0)] * 2
    assert "page 1 of 2 · cautions overleaf" in front and "page 2 of 2" in back
    for said in ("Leftovers to keep", "Cutting order", "Not on this plate", "Lay it on the table", "Time by plasma"):
        assert said in front
    assert "Cautions" in back and "Distances kept" in back


def test_what_is_not_known_is_said_to_be_unknown():
    bare = rectangles((200, 150), [("eye", 60, 40, 2)], thickness_mm=None)
    sheet = told(bare, shop=Shop())
    assert dict(sheet.material) == {
        "thickness": "unknown", "grade": "unknown", "heat": "unknown", "certificate": "unknown",
        "whole plate": "unknown", "place": "unknown",
    }  # fmt: skip
    assert dict(sheet.work)["estimated time"] == "unknown" and sheet.total_mass == "unknown"
    assert not any(part.heavy for part in sheet.parts)
    assert "grain" not in words(printed(bare, shop=Shop()).pdf, 1)


@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_sums_are_those_of_the_lines(sample: Layout, unit: Any):
    """Pieces times mass of one, as shown, to the last digit."""
    sheet = told(sample, lengths=Lengths(unit=unit))
    pieces = [int(part.pieces.split()[0]) for part in sheet.parts]
    total = sum(n * float(part.mass) for n, part in zip(pieces, sheet.parts, strict=True))
    assert f"{total:.3f}" == sheet.total_mass
    assert str(sum(pieces)) == sheet.total_pieces == str(len(sample.placements)) == dict(sheet.work)["pieces"]
    assert dict(sheet.work)["mass of all"] == f"{sheet.total_mass} {sheet.mass_unit}"
    contours = sum(len(sample.parts[p.part_id].contours) for p in sample.placements)
    assert dict(sheet.work)["pierces"] == str(contours)


def test_every_piece_stands_once_in_the_order_and_once_in_the_list(sample: Layout):
    sheet = told(sample)
    numbers = sorted(p.number for p in sample.placements)
    assert sorted(_numbers(sheet.order, "→")) == numbers
    assert sorted(n for part in sheet.parts for n in _numbers(part.numbers, ",")) == numbers
    order = _numbers(sheet.order, "→")
    assert order.index(2) < order.index(1), "the disc lies in the ring's hole"
    assert [part.ticks for part in sheet.parts[:3]] == [TICK, TICK, TICK * 2]


def _numbers(text: str, joint: str) -> list[int]:
    found: list[int] = []
    for piece in text.split(joint):
        first, _, last = piece.strip().partition("-")
        a, b = int(first), int(last or first)
        found += range(a, b + 1) if a <= b else range(a, b - 1, -1)
    return found


def test_pieces_that_are_turned_over_are_told():
    """What is etched or bent has a face."""
    layout = rectangles((300, 150), [("eye", 60, 40, 3)])
    turned = replace(layout.placements[1], pose=Pose(flipped=True, x_mm=136.0, y_mm=10.0))
    layout = replace(layout, placements=(layout.placements[0], turned, layout.placements[2]))
    assert told(layout).parts[0].details == "eye.dxf · turned over: 2"


def test_hand_lift_mark_at_23_kg():
    """23 kg, the load constant of NIOSH 94-110, is 0.4883 m2 of 6 mm steel at 7850 kg/m3."""
    layout = rectangles((3000, 800), [("below", 1000.0, 488.2, 1), ("above", 1000.0, 488.4, 1)])
    sheet = told(layout)
    assert [(part.name, part.heavy) for part in sheet.parts] == [("below", False), ("above", True)]
    assert "above the hand-lift figure of 23 kg" in sheet.lift_note
    text = words(printed(layout).pdf, 1)
    assert f"{HEAVY} 23.004" in text and re.search(rf"(?<!{HEAVY} )22\.994", text)
    assert dict(sheet.material)["whole plate"].startswith(HEAVY), "a whole plate of 113 kg"


def test_estimated_time_of_a_worked_example():
    """Ten squares of 200 mm, 2550 mm/min and 0.5 s: 188.24 s of cutting and 5.0 s of piercing are 193.24 s."""
    row = CutRow(
        process="plasma", amps=65.0, thickness_mm=6.0, speed_mm_min=2550.0, pierce_delay_s=0.5, edge_start=False,
        kerf_mm=None, material="mild steel", chart="65 A", source="operator manual 806650 rev. 4",
    )  # fmt: skip
    layout = rectangles((1100, 500), [("square", 200.0, 200.0, 10)])
    shop = Shop(amps=65.0, cut_rows=(row,))
    sheet = told(layout, shop=shop)
    assert len(layout.placements) == 10
    work = dict(sheet.work)
    assert (work["estimated time"], work["cut length"], work["pierces"]) == ("3 min 13 s", "8.00 m", "10")
    assert measured(layout, shop)[2].figure("cut_time").value == pytest.approx(193.24, abs=0.05)
    assert "65 A" in sheet.time_note and "operator manual 806650 rev. 4" in sheet.time_note


def test_tapes_run_between_lettered_corners_and_leave_room_for_the_reading(sample: Layout):
    sheet = told(sample)
    places = dict(sheet.corners)
    assert list(places) == ["A", "B", "C", "D", "E"] and places["A"] == (0.0, 0.0)
    assert len(sheet.tapes) == 3
    for tape in sheet.tapes:
        distance = float(np.hypot(*np.subtract(places[tape.start], places[tape.end])))
        assert tape.length == f"{distance:.1f} mm".replace(".0 mm", " mm")
    assert words(printed(sample).pdf, 1).count("is _________") == 3


def test_a_round_plate_has_points_instead_of_corners():
    layout = rectangles((700, 700), [("square", 150.0, 150.0, 1)], margin=270.0)
    layout = replace(layout, plate=replace(layout.plate, outer=Contour(curves=(circle((350, 350), 350),))))
    sheet = told(layout)
    assert sheet.zero_corner is None and sheet.corners == ()
    assert [tape.ends for tape in sheet.tapes] == ["P1\u00a0–\u00a0P2", "P3\u00a0–\u00a0P4", "P5\u00a0–\u00a0P6"]
    assert "The plate has no corners" in sheet.steps[0]
    assert "P1 – P2 700 mm" in words(printed(layout).pdf, 1)


def test_the_zero_is_the_lower_left_corner_whatever_its_letter():
    """A plate that was lettered on the steel keeps its letters."""
    layout = rectangles((200, 150), [("eye", 60, 40, 2)])
    places = [("K", (200.0, 0.0)), ("L", (200.0, 150.0)), ("M", (0.0, 150.0)), ("N", (0.0, 0.0))]
    layout = replace(layout, plate=replace(layout.plate, lettered=tuple(places)))
    sheet = told(layout)
    assert dict(sheet.corners) == dict(places)
    assert sheet.zero_corner == "N" and sheet.steps[0].startswith("Corner N to the table's zero")
    assert sheet.steps[1].startswith("Torch over L: it must read X\u00a0200.0 Y\u00a0150.0")


def test_a_plate_is_laid_by_the_corners_it_was_captured_for():
    layout = rectangles((200, 150), [("eye", 60, 40, 2)])
    capture = Capture(set_up_by=((0.0, 0.0), (200.0, 0.0)))
    sheet = told(replace(layout, plate=replace(layout.plate, capture=capture)))
    assert sheet.steps[1].startswith("Torch over B: it must read X\u00a0200.0 Y\u00a00.0")
    capture = Capture(set_up_by=((200.0, 150.0), (0.0, 150.0)))
    sheet = told(replace(layout, plate=replace(layout.plate, capture=capture)))
    assert sheet.steps[0] == (
        "Corner A to the table's lower left. The outline was taken from D and C: torch over D, set the readout to "
        "X\u00a00.0 Y\u00a0150.0."
    )
    assert sheet.steps[1].startswith("Torch over C: it must read X\u00a0200.0 Y\u00a0150.0")


def test_on_a_plate_that_was_settled_no_zero_is_set(sample: Layout):
    sheet = told(sample, on_table=True)
    assert sheet.zero_corner is None, "an arrow from a corner would ask for a zero there"
    steps = sheet.steps
    assert steps[0] == "The drawing is in the table's coordinates: leave the machine's zero where it is."
    assert [step[:12] for step in steps[1:]] == ["Torch over A", "Torch over C"]
    assert not any("set the readout" in step for step in steps)


def test_leftovers_take_the_names_of_the_rack(sample: Layout):
    sheet = told(sample, rack_ids={"R1": "L-0042"})
    assert sheet.kept[0].name == "R1" and sheet.kept[0].chalk.startswith("L-0042 · 6 mm")


def test_a_leftover_is_never_said_to_take_more_than_it_does(sample: Layout):
    largest = balance(sample, SHOP).kept[0].rectangle
    for lengths in (Lengths(), Lengths(unit="inch"), Lengths(unit="inch", fraction=0)):
        sides = told(sample, lengths=lengths).kept[0].size.split(" x ")
        said = [float(sum(map(Fraction, side.split("\u00a0")))) * (25.4 if lengths.inches else 1.0) for side in sides]
        true = (largest.width_mm, largest.height_mm)
        assert all(t - 2.0 < a <= t for a, t in zip(sorted(said), sorted(true), strict=True))


@pytest.mark.parametrize(
    ("plate_mm", "parts", "paper", "lengths"),
    [
        ((300.0, 200.0), [("eye", 60.0, 40.0, 6)], "A4", Lengths()),
        ((6000.0, 300.0), [("foot", 160.0, 120.0, 20), ("strip", 900.0, 60.0, 4)], "A4", Lengths()),
        ((1000.0, 2600.0), [("door", 450.0, 900.0, 3)], "Letter", Lengths(unit="inch", fraction=32)),
        ((1500.0, 1000.0), [("link", 90.0, 40.0, 150)], "Letter", Lengths(unit="inch")),
        ((300.0, 200.0), [("too large", 280.0, 190.0, 1)], "A4", Lengths()),
    ],
    ids=["300 mm", "6 m", "high", "150 pieces", "nothing placed"],
)
def test_nothing_is_cut_off_or_blank(
    plate_mm: tuple[float, float], parts: list[tuple[str, float, float, int]], paper: Paper, lengths: Lengths
):
    made = printed(rectangles(plate_mm, parts), paper=paper, lengths=lengths)
    dots = 3.0
    for page in pictures(made.pdf, dots):
        inked = page < 200
        rim = int(8.0 * dots)
        assert inked.mean() > 0.005
        assert not inked[:rim].any() and not inked[-rim:].any()
        assert not inked[:, :rim].any() and not inked[:, -rim:].any()


def test_black_and_white_is_enough(sample: Layout):
    """Every dot of every page is a grey."""
    for page in pictures(printed(sample).pdf, 2.0, colours=True):
        assert page.ndim == 3 and page.shape[2] == 3
        assert int((page.max(axis=2) - page.min(axis=2)).max()) == 0


def test_a_list_too_long_for_the_front_goes_on_behind():
    parts = [(f"tab {n:03d}", 60.0 + 7 * (n % 9), 45.0 + 5 * (n % 7), 1) for n in range(150)]
    layout = rectangles((4000, 2000), parts)
    made = printed(layout)
    text = words(made.pdf)
    assert len(layout.placements) == 150
    for n in range(150):
        assert text.count(f"tab {n:03d} tab {n:03d}.dxf") == 1
    assert "all parts 150" in text
    assert "Leftovers to keep" in words(made.pdf, 1), "a long list takes nothing short with it"
    sizes = sizes_mm(made.pdf)
    assert sizes[0] == (210.0, 297.0) and sizes[1] == (297.0, 210.0), "numbers crowd: the picture has a page of its own"
    large = re.sub(r"[^\d ]", "", words(made.pdf, 2)).split()
    assert {str(n) for n in range(1, 151)} <= set(large)
    assert f"page 1 of {len(sizes)} · all numbers on page 2, cautions overleaf" in words(made.pdf, 1)


def test_taped_corners_of_a_torn_edge_have_their_letters():
    """A hundred and twenty corners: not all letters find room, those that are taped do, on sheet and sketch."""
    turns = np.linspace(0.0, 2 * np.pi, 120, endpoint=False)
    reach = 600.0 + 60.0 * (np.arange(120) % 2)
    points = np.column_stack([900.0 + 1.4 * reach * np.cos(turns), 700.0 + reach * np.sin(turns)])
    layout = rectangles((1500, 1200), [("eye", 150.0, 150.0, 9)], margin=320.0)
    layout = replace(layout, plate=replace(layout.plate, outer=Contour.of_points([(x, y) for x, y in points.tolist()])))
    sheet = told(layout)
    text = words(printed(layout).pdf, 1)
    for tape in sheet.tapes:
        for name in (tape.start, tape.end):
            assert len(re.findall(rf"(?<!\w){name}(?!\w)", text)) >= 3, "picture, sketch and list"
    (second,) = re.findall(r"Torch over (\w+)", sheet.steps[1])
    assert len(re.findall(rf"(?<!\w){second}(?!\w)", text)) >= 2, "picture and step"


def test_no_words_of_a_picture_cover_others(sample: Layout):
    shop, sheet = SHOP, told(sample)
    tapes = tape_picture(sample, sheet, width_mm=66.0, height_mm=42.0)
    form, height = choose_form(sample, sheet, tapes, "A4")
    picture = layout_picture(
        sample, balance(sample, shop), sheet, unit="mm", width_mm=form.picture_mm[0], height_mm=height
    )
    for drawn in (picture, tapes):
        boxes = [mark.box for mark in drawn.marks if isinstance(mark, Words)]
        assert len(boxes) > 5
        for k, box in enumerate(boxes):
            assert shapely.box(0, 0, drawn.width_mm, drawn.height_mm).buffer(0.5).contains(box)
            assert not any(box.intersection(other).area > 0.05 for other in boxes[:k])
    numbers = [mark.text for mark in picture.marks if isinstance(mark, Words) and mark.text.isdigit()]
    assert sorted(numbers, key=int) == [str(p.number) for p in sample.placements]
    assert {"A", "B", "C", "D", "E", "X", "Y", "R1", "clamp", "grain"} <= {
        mark.text for mark in picture.marks if isinstance(mark, Words)
    }


def test_a_layer_name_is_no_reason_and_a_clamp_keeps_the_torch_away():
    corner = Contour.of_points([(170, 120), (200, 120), (200, 150), (170, 150)])
    for keep_out, said in (
        (KeepOut(contour=corner, reason="layer KEEP-OUT"), "keep-out"),
        (KeepOut(contour=corner, reason="clamp", kind="no part, lead or rapid"), "clamp, no torch"),
    ):
        text = words(printed(rectangles((200, 150), [("eye", 60, 40, 2)], keep_outs=(keep_out,))).pdf, 1)
        assert said in text and "layer KEEP-OUT" not in text


def test_the_same_layout_gives_the_same_files():
    layout = rectangles((200, 150), [("eye", 60, 40, 2)])
    assert printed(layout) == printed(layout)


@pytest.mark.parametrize(
    "name", ["", "\x00\x07 <b> &amp; \u202e", "a\nb\tc", "</para>&#0;<!--", "漢字 😀", "x" * 500, "word " * 100]
)
def test_any_name_can_be_printed(name: str):
    """Names of files and plates are anybody's; what the font lacks is a box, what is too long is cut off."""
    layout = rectangles((200, 150), [("eye", 60, 40, 2)])
    plate = replace(layout.plate, name=name, heat=name, grade=name, place=name, parent=name, source=name, captured=name)
    demand = replace(layout.demands[0], part=replace(layout.demands[0].part, name=name, source=name), reference=name)
    made = printed(replace(layout, plate=plate, demands=(demand,)))
    assert "page 1 of" in words(made.pdf, 1) and "1 ·" in words(made.labels)
    plain = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    if plain.isascii() and len(plain) < 40:
        assert plain in words(made.pdf, 1)


def test_each_piece_has_its_label(sample: Layout):
    labels = part_labels(captured(sample), Lengths())
    assert len(labels) == len(sample.placements)
    first = labels[0]
    assert first.title == "1 · Pump ring"
    assert first.lines == (
        "order 4711/12", "material 6 mm S355J2+N", "heat H 4711", "certificate 3.1/0815",
        "plate Rack B, shelf 2", "layout 3f9c0a7be41d",
    )  # fmt: skip
    assert first.code is not None and first.code.splitlines()[:3] == ["part Pump ring", "no. 1", "order 4711/12"]
    assert len({label.code for label in labels}) == len(labels)
    text = words(printed(captured(sample)).labels)
    assert all(f"{p.number} · {sample.parts[p.part_id].name}" in text for p in sample.placements)


def test_a_label_tells_an_unknown_heat_and_leaves_out_an_order_that_there_is_not(sample: Layout):
    bare = replace(sample, plate=replace(sample.plate, heat=None))
    lines = part_labels(bare, Lengths())[0].lines
    assert lines[:3] == ("material 6 mm unknown", "heat unknown", "certificate unknown")
    assert not any("order" in line for line in lines)


def test_broken_lines_of_a_part_are_told_in_the_legend(sample: Layout):
    assert "bend, mark" in words(printed(sample).pdf)
    assert "bend, mark" not in words(printed(rectangles((500, 300), [("a", 100, 80, 3)])).pdf)


def test_a_bought_sheet_may_be_larger_than_drawn():
    """Mills deliver a little more: only what is short is a fault."""
    bought = rectangles((2000, 1000), [("a", 100, 80, 3)], captured="width and height in the job")
    sheet = told(bought)
    assert sheet.stop == (
        "Tape the edges too. Stop if a length is short by more than 1 mm, or the diagonals differ by more than 2 mm; "
        "larger than 2000 x 1000 does no harm."
    )
    assert sheet.steps[1].replace("\u00a0", " ") == (
        "Torch over B: it must read Y 0.0, and X 2000.0 or more, else the plate lies crooked: turn it, or use "
        "'oddplate settle'."
    )
    measured_one = rectangles((2000, 1000), [("a", 100, 80, 3)], captured="tape readings")
    assert told(measured_one).stop.startswith("Stop if one is off by more than 1 mm")


def test_what_is_to_be_done_by_hand_reaches_the_man_at_the_table():
    layout = rectangles((500, 300), [("lug", 100, 80, 3), ("plain", 60, 60, 1)])
    areas, order, _ = measured(layout, SHOP)

    def finding(part: str, kind: Any, severity: Any, message: str) -> FitFinding:
        return FitFinding(
            part_id=part, kind=kind, severity=severity, message=message, places=((1.0, 1.0),), value_mm=4.0,
            limit_mm=12.0, source="a table", question="may it be drilled?",
        )  # fmt: skip

    drill = finding("lug", "small hole", "warning", "hole of 4 mm at (1.0, 1.0): cut under size and drill")
    others = (
        finding("lug", "may tip", "note", "may rest on fewer than 3 slats"),
        finding("lug", "grain not known", "warning", "bends may crack"),
        finding("absent", "small hole", "warning", "hole of 3 mm"),
    )
    report = figures(layout, SHOP, areas=areas, fit=(drill, *others))
    told = "lug: hole of 4 mm at (1.0, 1.0): cut under size and drill"
    assert cut_sheet(layout, report, order, title="t", lengths=Lengths()).by_hand == (told,)
    made = sheets(layout, report, areas=areas, order=order, title="t", lengths=Lengths(), paper="A4")
    assert told in words(made.pdf) and told in made.html
    many = figures(layout, SHOP, areas=areas, fit=(drill,) * 20)
    assert cut_sheet(layout, many, order, title="t", lengths=Lengths()).by_hand[-1] == "and 12 more, see the report"
