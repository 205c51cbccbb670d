"""Whatever the search returns is legal, keeps its rules and comes out the same for the same steps."""

import math
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Polygon

from nesting.check import check_layout
from nesting.clearances import Clearances
from nesting.demand import Demand, Turns
from nesting.errors import InfeasibleError, JobError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.largest import Rectangle, largest_rectangle
from nesting.layout import Layout
from nesting.part import Part
from nesting.plate import KeepOut, Plate
from nesting.pull import Pull
from nesting.search import engine
from nesting.search.engine import Progress, search
from nesting.search.kinds import kinds_of

CLEAR = Clearances(kerf_mm=1.5, gap_mm=6.0, margin_mm=8.0)
TIGHT = Clearances(kerf_mm=0.0, gap_mm=0.0, margin_mm=0.0)
INCH = 25.4


def rectangle(name: str, width: float, height: float) -> Part:
    return Part(id=name, name=name, outer=Contour.of_rectangle(width, height))


def disc(name: str, radius: float, *holes: float) -> Part:
    return Part(
        id=name, name=name, outer=Contour(curves=(circle((0, 0), radius),)),
        holes=tuple(Contour(curves=(circle((0, 0), r),)) for r in holes),
    )  # fmt: skip


def ell(name: str, size: float) -> Part:
    corners = [(0, 0), (size, 0), (size, size / 3), (size / 3, size / 3), (size / 3, size), (0, size)]
    return Part(id=name, name=name, outer=Contour.of_points(corners))


def sheet(width: float, height: float, **more: object) -> Plate:
    return Plate(name="sheet", outer=Contour.of_rectangle(width, height), **more)  # type: ignore[arg-type]


ODD = Plate(
    name="odd",
    outer=Contour.of_points([(0, 0), (500, 0), (500, 180), (330, 400), (0, 360)]),
    holes=(Contour(curves=(circle((200, 180), 45),)),),
    keep_outs=(KeepOut(contour=Contour.of_points([(400, 20), (480, 20), (480, 90), (400, 90)])),),
    grain_deg=30.0,
    uncertainty_mm=1.0,
)

DEMANDS = st.lists(
    st.tuples(
        st.sampled_from([rectangle("bar", 120, 30), disc("washer", 35, 12), ell("angle", 90), rectangle("a", 50, 50)]),
        st.one_of(st.none(), st.integers(1, 4)),
        st.sampled_from([Turns(), Turns.steps(90), Turns.fixed(), Turns(rule="grain")]),
        st.booleans(),
        st.integers(1, 2),
    ),
    min_size=1, max_size=4, unique_by=lambda row: row[0].id,
)  # fmt: skip


def counts(layout: Layout) -> Counter[str]:
    return Counter(p.part_id for p in layout.placements)


@settings(max_examples=10)
@given(DEMANDS, st.integers(0, 1000))
def test_every_layout_is_legal_and_accounts_for_every_part(rows: list[tuple], seed: int) -> None:
    """The check holds gap, margin with uncertainty, hole, keep-out, turns, flips and quantities against the demands."""
    demands = [Demand(part=p, quantity=q, turns=t, may_flip=f, priority=r) for p, q, t, f, r in rows]

    layout = search(ODD, demands, CLEAR, seed=seed, steps=6)

    report = check_layout(layout)
    assert report.passed, report.findings
    assert layout.search is not None and layout.search.bound_utilisation is not None
    used = sum(layout.parts[p.part_id].area_mm2 for p in layout.placements) / ODD.area_mm2
    assert used <= layout.search.bound_utilisation * (1 + 1e-9)
    missing = {row.part_id: row.count for row in layout.left_over}
    for demand in demands:
        if demand.quantity is not None:
            assert counts(layout)[demand.part.id] + missing.get(demand.part.id, 0) == demand.quantity


def test_same_steps_same_layout() -> None:
    demands = [Demand(part=ell("angle", 90), quantity=5), Demand(part=disc("washer", 35, 12), quantity=4)]

    first, second = (search(ODD, demands, CLEAR, seed=7, steps=9) for _ in range(2))

    assert first.placements == second.placements
    assert first.search is not None and first.search.threads == 1
    assert search(ODD, demands, CLEAR, seed=8, steps=9).placements != first.placements


def test_a_disc_goes_into_the_ring_when_there_is_no_other_room() -> None:
    demands = [Demand(part=disc("ring", 95, 60)), Demand(part=disc("disc", 45, 20)), Demand(part=disc("core", 11))]

    layout = search(sheet(210, 210), demands, CLEAR, steps=20)

    assert sum(counts(layout).values()) == 3, layout.left_over
    assert check_layout(layout).passed


def test_what_has_a_quantity_comes_before_what_fills() -> None:
    """Room for two of either: both required ones are placed, though a filler would be worth more."""
    demands = [
        Demand(part=rectangle("filler", 100, 80), quantity=None, value=1e9),
        Demand(part=rectangle("wanted", 90, 80), quantity=2),
    ]

    layout = search(sheet(230, 100), demands, CLEAR, steps=10)

    assert counts(layout) == {"wanted": 2}


def test_what_is_worth_nothing_is_better_there_than_not() -> None:
    """But not as good as anything that is worth something."""
    bars = Demand(part=rectangle("bar", 120, 30), value=0.0), Demand(part=rectangle("a", 50, 50), value=0.01)
    nothing, little = (kind.worth for kind in kinds_of(ODD, bars, CLEAR))

    assert 0.0 < 1000 * nothing < little


def test_lower_priority_numbers_come_first() -> None:
    demands = [
        Demand(part=rectangle("later", 100, 80), priority=2),
        Demand(part=rectangle("sooner", 90, 80), priority=1),
    ]

    layout = search(sheet(130, 100), demands, CLEAR, steps=10)

    assert counts(layout) == {"sooner": 1}
    assert [(row.part_id, row.count) for row in layout.left_over] == [("later", 1)]


def test_a_part_too_large_is_named_with_its_size_and_the_room_there_is() -> None:
    """Inside a margin of 8 mm a sheet 300 x 100 has a free rectangle of 284 x 84 and a circle of 84."""
    layout = search(sheet(300, 100), [Demand(part=rectangle("long", 290, 20))], CLEAR, steps=3)

    (row,) = layout.left_over
    assert row.count == 1
    for words in ("290.0 x 20.0", "284.0 x 84.0", "84.0 mm across"):
        assert words in row.reason


def test_the_plate_is_measured_once_for_all_that_fits_nowhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """That takes a while, and time is up by then."""
    asked: list[object] = []

    def counted(room: Polygon | MultiPolygon) -> Rectangle:
        asked.append(room)
        return largest_rectangle(room)

    monkeypatch.setattr(engine, "largest_rectangle", counted)

    layout = search(ODD, [Demand(part=rectangle(f"long {n}", 2000 + n, 50)) for n in range(3)], CLEAR, steps=1)

    assert [row.reason.count("not even alone") for row in layout.left_over] == [1, 1, 1]
    assert len(asked) == 1


def test_no_room_inside_the_margin_is_told() -> None:
    with pytest.raises(InfeasibleError, match="smaller margin"):
        search(sheet(10, 10), [Demand(part=rectangle("bar", 5, 5))], CLEAR, steps=1)


def test_one_part_in_two_demands_is_refused() -> None:
    """What is left over of either could not be told."""
    demands = [Demand(part=rectangle("bar", 5, 5)), Demand(part=rectangle("bar", 5, 5), quantity=3)]

    with pytest.raises(JobError, match="bar: wanted in more than one demand; give every part an id of its own"):
        search(sheet(100, 100), demands, CLEAR, steps=1)


def test_grain_that_is_not_known_is_refused() -> None:
    with pytest.raises(JobError, match="grain of plate sheet is not known"):
        search(sheet(100, 100), [Demand(part=rectangle("bar", 5, 5), turns=Turns(rule="grain"))], CLEAR, steps=1)


def test_a_call_to_stop_is_heard_and_what_is_found_is_kept() -> None:
    seen: list[Progress] = []

    layout = search(
        ODD, [Demand(part=ell("angle", 60), quantity=None)], CLEAR, time_limit_s=30.0,
        on_progress=seen.append, should_stop=lambda: any(p.placed for p in seen),
    )  # fmt: skip

    assert layout.search is not None and layout.search.stopped == "asked to stop"
    assert layout.search.seconds < 20.0
    assert layout.placements and check_layout(layout).passed
    assert seen[-1].wanted is None and 0.0 < seen[-1].utilisation < 1.0


def test_a_call_to_stop_is_heard_while_parts_are_tried_alone() -> None:
    """One that fits nowhere takes thousands of tries; nothing that was not tried is said not to fit."""
    seen: list[Progress] = []
    demands = [Demand(part=rectangle("long", 495, 170)), Demand(part=ell("angle", 60))]

    layout = search(
        ODD, demands, CLEAR, time_limit_s=600.0, threads=1, on_progress=seen.append, should_stop=lambda: bool(seen)
    )

    assert seen[0].phase == "trying each part alone"
    assert layout.search is not None and layout.search.stopped == "asked to stop"
    assert not any("not even alone" in row.reason for row in layout.left_over)


def test_a_call_to_stop_at_once_gives_a_layout_all_the_same() -> None:
    """Before anything is placed, too; what is there is legal and what is missing is told."""
    layout = search(ODD, [Demand(part=ell("angle", 60), quantity=3)], CLEAR, should_stop=lambda: True)

    assert layout.search is not None and layout.search.stopped == "asked to stop"
    assert check_layout(layout).passed, check_layout(layout).findings


def test_no_steps_is_no_parts_placed_and_all_left_over() -> None:
    """Not a crash: nothing has overlapped yet."""
    layout = search(ODD, [Demand(part=ell("angle", 60), quantity=3)], CLEAR, steps=0)

    assert not layout.placements
    assert [(row.part_id, row.count) for row in layout.left_over] == [("angle", 3)]


@pytest.mark.parametrize("turns", [Turns(), Turns.fixed(), Turns.steps(90)])
def test_a_rectangle_exactly_as_large_as_the_room_is_placed(turns: Turns) -> None:
    """Clearances cost a straight side nothing: corners shared by two lines once made thinning give 0.08 mm away."""
    layout = search(sheet(216, 116), [Demand(part=rectangle("bar", 200, 100), turns=turns)], CLEAR, steps=5)

    assert counts(layout) == {"bar": 1}, layout.left_over
    assert check_layout(layout).passed


def test_a_square_in_a_frame_that_leaves_it_half_a_millimetre() -> None:
    """As the drawing lies: there is no room but the hole, and none to spare in it."""
    rim = Contour.of_points([(20, 20), (180, 20), (180, 180), (20, 180)])
    frame = Part(id="frame", name="frame", outer=Contour.of_rectangle(200, 200), holes=(rim,))
    demands = [Demand(part=frame), Demand(part=rectangle("square", 147.5, 147.5), turns=Turns.fixed())]

    layout = search(sheet(217, 217), demands, CLEAR, steps=20)

    assert counts(layout) == {"frame": 1, "square": 1}, layout.left_over
    assert check_layout(layout).passed


def test_a_ring_lies_round_a_hole_of_the_plate() -> None:
    """There is no other place for it."""
    plate = sheet(220, 220, holes=(Contour(curves=(circle((110, 110), 30),)),))

    layout = search(plate, [Demand(part=disc("ring", 100, 60))], CLEAR, steps=5)

    assert counts(layout) == {"ring": 1}, layout.left_over
    assert check_layout(layout).passed


def test_parts_may_touch_where_nothing_is_to_be_kept() -> None:
    """A square of 100 x 100 cut in four, no kerf, no gap: as in the open benchmarks."""
    layout = search(sheet(100, 100), [Demand(part=rectangle("tile", 50, 50), quantity=4)], TIGHT, steps=10)

    assert counts(layout) == {"tile": 4}
    assert check_layout(layout).passed


@pytest.mark.parametrize(
    ("plate", "part", "gap", "margin", "least"),
    [
        # Plain grids counted by hand: 23 x 6 turned on a 2500 x 1250 sheet; 7 x 7 on a 96 x 48 in sheet.
        ((2500, 1250), (200, 100), 5.0, 10.0, 138),
        ((96 * INCH, 48 * INCH), (12 * INCH, 6 * INCH), INCH / 4, INCH / 2, 49),
    ],
)
def test_rectangles_reach_the_plain_grid(
    plate: tuple[float, float], part: tuple[float, float], gap: float, margin: float, least: int
) -> None:
    demand = Demand(part=rectangle("tile", *part), quantity=None, turns=Turns.steps(90))

    layout = search(sheet(*plate), [demand], Clearances(kerf_mm=1.0, gap_mm=gap, margin_mm=margin), steps=5)

    assert len(layout.placements) >= least
    assert check_layout(layout).passed


@pytest.mark.parametrize(
    ("pull", "toward"),
    [
        (Pull(name="left"), (-1, 0)),
        (Pull(name="right"), (1, 0)),
        (Pull(name="top"), (0, 1)),
        (Pull(name="bottom-right"), (1, -1)),
        (Pull(angle_deg=135.0), (-1, 1)),
    ],
)
def test_parts_are_pulled_to_where_they_are_wanted(pull: Pull, toward: tuple[int, int]) -> None:
    """Three tiles of 60 on 400 x 300: three fit in the 126 mm beyond the margin of each edge and corner."""
    layout = search(
        sheet(400, 300), [Demand(part=rectangle("tile", 60, 60), quantity=3)], CLEAR, steps=20, pull_to=[pull]
    )

    assert layout.search is not None and layout.search.pulled is not None
    assert layout.search.pulled.to == str(pull)
    x0, y0, x1, y1 = MultiPolygon(
        [p.pose.geometry(layout.parts[p.part_id].fine_polygon) for p in layout.placements]
    ).bounds
    assert toward[0] <= 0 or x0 > 200
    assert toward[0] >= 0 or x1 < 200
    assert toward[1] <= 0 or y0 > 110
    assert toward[1] >= 0 or y1 < 190
    assert check_layout(layout).passed


def test_the_free_rest_is_told_before_and_after() -> None:
    """Pulled to the left the tile leaves all but itself, its margin and the gap: 400 - 8 - 60 - 6 wide."""
    tile = Demand(part=rectangle("tile", 60, 280), turns=Turns.fixed())

    layout = search(sheet(400, 300), [tile], CLEAR, steps=40, pull_to=[Pull(name="left")])

    assert layout.search is not None and layout.search.pulled is not None
    after = layout.search.pulled.after
    long, short = after.rectangle_mm
    assert (long, short) == pytest.approx((326, 300), abs=1.0)
    assert after.circle_diameter_mm == pytest.approx(300, abs=1.0)
    assert layout.search.pulled.before.area_mm2 > 0.0


def test_nothing_is_pulled_where_as_many_as_fit_are_wanted() -> None:
    layout = search(sheet(200, 200), [Demand(part=rectangle("tile", 60, 60), quantity=None)], CLEAR, steps=6)

    assert layout.search is not None and layout.search.pulled is None


def test_equal_circles_stay_under_the_hexagonal_bound() -> None:
    """No plane packing of equal circles is denser than pi / sqrt(12) = 90.69 % (Lagrange, Thue)."""
    layout = search(sheet(300, 300), [Demand(part=disc("disc", 15), quantity=None)], TIGHT, steps=6)

    used = len(layout.placements) * math.pi * 15**2 / 300**2
    assert 0.70 < used <= math.pi / math.sqrt(12)
