"""Which line of an order is which of a former plan."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from batch_orders import NONE, line, part, plate

from nesting.batch.stock import Line
from nesting.errors import JobError
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.steps.batch_former import Former, FormerLine, FormerPiece, shape_sha256
from nesting.steps.batch_lines import named

FIRST, SECOND, THIRD = date(2026, 12, 1), date(2026, 12, 20), date(2027, 1, 5)


def wanted(
    name: str = "flange", reference: str = "", due: date | None = None, *, quantity: int = 1, width: float = 50.0,
    thickness: float = 6.0, grade: str | None = None,
) -> Line:  # fmt: skip
    """A line as read: whatever else is in the order, the drawing alone gives it its id."""
    own = line(name, width, 40.0, quantity, thickness=thickness, grade=grade, due=due)
    return replace(own, reference=reference)


def former(*told: tuple[Line, int], unclaimed: tuple[str, ...] = (), failed: dict[str, int] | None = None) -> Former:
    """A plan of lines, so many parts of each on a piece of its own that is cut."""
    lines = named([x for x, _ in told], None)[0]
    pieces = []
    for own, (_, made) in zip(lines, told, strict=True):
        placements = tuple(Placement(number=n + 1, part_id=own.id, pose=Pose()) for n in range(made))
        demands = (replace(own.demand, quantity=made),) if made else ()
        layout = Layout(plate=plate(f"P {own.id}", 99, 99), clearances=NONE, demands=demands, placements=placements)
        pieces.append(FormerPiece(id=f"P {own.id}", stock="P", cut=True, folder=Path(), layout=layout))
    known = tuple(
        FormerLine(
            id=own.id, name=own.demand.part.name, reference=own.reference, due=own.due, wanted=own.quantity,
            shape=shape_sha256(own.demand.part), thickness_mm=own.demand.part.thickness_mm,
            grade=own.demand.part.grade, unclaimed=own.id in unclaimed,
        )
        for own in lines
    )  # fmt: skip
    return Former(pieces=tuple(pieces), lines=known, failed=failed or {})


def ids(lines: list[Line], plan: Former | None) -> list[str]:
    return [x.id for x in named(lines, plan)[0]]


def test_without_a_former_plan_ids_are_numbered() -> None:
    assert ids([wanted(), wanted("hub"), wanted()], None) == ["flange", "hub", "flange-2"]


def test_a_line_taken_out_leaves_its_id_to_what_was_cut_for_it() -> None:
    """The first line was cut, delivered and taken out; what is left must not be told as cut."""
    plan = former((wanted(reference="A", due=FIRST), 1), (wanted(reference="B", due=SECOND), 0))

    lines, notes = named([wanted(reference="B", due=SECOND)], plan)

    assert [x.id for x in lines] == ["flange-2"]
    assert [x.demand.part.id for x in lines] == ["flange-2"]
    assert notes == [
        "flange (reference A, due 2026-12-01): counted for no line: 1 cut on P flange; "
        "the order has no line of this part and reference"
    ]


def test_lines_in_another_order_keep_their_ids() -> None:
    plan = former((wanted(thickness=6.0), 1), (wanted(thickness=8.0), 0))

    assert ids([wanted(thickness=8.0), wanted(thickness=6.0)], plan) == ["flange-2", "flange"]


@pytest.mark.parametrize(
    ("now", "what"),
    [({"width": 51.0}, "drawing"), ({"thickness": 8.0}, "thickness"), ({"grade": "S355"}, "grade")],
)
def test_another_part_is_another_line(now: dict[str, float], what: str) -> None:
    """A drawing that was revised after the cut, or a line that asks for other plate."""
    lines, notes = named([wanted(**now)], former((wanted(), 1)))

    assert [x.id for x in lines] == ["flange-2"]
    assert len(notes) == 1 and notes[0].endswith(f"1 cut on P flange; its line has another {what} now")


def test_a_part_is_known_by_what_is_cut_whatever_its_drawing_is_called() -> None:
    one = part("flange", 50, 40)
    assert shape_sha256(one) == shape_sha256(replace(one, name="other", source="there", source_sha256="ab"))
    assert shape_sha256(one) == shape_sha256(part("flange", 50.0, 40.0))
    assert shape_sha256(one) != shape_sha256(part("flange", 50, 41))
    plan = former((wanted(thickness=4.7625, grade="S235JR"), 1))
    assert ids([wanted("flange rev", thickness=4.76, grade="s235 jr")], plan) == ["flange"]


def test_a_new_date_is_taken_where_the_reference_names_the_line() -> None:
    plan = former((wanted(reference="A", due=FIRST), 1))

    lines, notes = named([wanted(reference="A", due=SECOND, quantity=3)], plan)

    assert [x.id for x in lines] == ["flange"]
    assert notes == ["flange (reference A, due 2026-12-01): is due 2026-12-20 now; counted for it: 1 cut"]


@pytest.mark.parametrize("reference", ["", "A"])
def test_a_new_date_is_refused_where_it_may_be_a_new_line(reference: str) -> None:
    """The line cut may have been delivered, and the other one come in since."""
    plan = former((wanted(reference=reference, due=FIRST), 2), (wanted(reference=reference, due=SECOND), 0))
    lines = [wanted(reference=reference, due=SECOND), wanted(reference=reference, due=THIRD)]

    with pytest.raises(JobError, match=r"2 cut, and the order has such a line only due 2027-01-05") as told:
        named(lines, plan)

    assert "(quantity = 2, due 2026-12-01)" in str(told.value)
    assert ids([*lines, wanted(reference=reference, due=FIRST, quantity=2)], plan) == ["flange-2", "flange-3", "flange"]


def test_a_new_date_does_not_matter_where_nothing_is_cut() -> None:
    assert ids([wanted(due=SECOND)], former((wanted(due=FIRST), 0))) == ["flange"]


def test_which_of_two_equal_lines_was_taken_out_is_not_guessed() -> None:
    plan = former((wanted(), 1), (wanted(), 0))

    with pytest.raises(JobError, match="has 2 lines of it, 1, 0 cut, and the order has only 1: which was taken out"):
        named([wanted()], plan)

    assert ids([wanted(), wanted()], plan) == ["flange", "flange-2"]
    assert ids([wanted(), wanted(), wanted()], plan) == ["flange", "flange-2", "flange-3"]
    assert ids([wanted()], former((wanted(), 1), (wanted(), 1))) == ["flange"]


def test_name_and_quantity_tell_equal_lines_apart() -> None:
    assert ids([wanted(quantity=5)], former((wanted(quantity=3), 3), (wanted(quantity=5), 0))) == ["flange-2"]
    assert ids([wanted("right")], former((wanted("left"), 1), (wanted("right"), 0))) == ["right"]


def test_what_was_counted_for_no_line_comes_back_to_the_same_line_only() -> None:
    """A part without reference and date that is ordered again is a new one: the old one is delivered."""
    plan = former((wanted(reference="A"), 1), (wanted("hub", width=30.0), 1), unclaimed=("flange", "hub"))

    lines, notes = named([wanted(reference="A"), wanted("hub", width=30.0)], plan)

    assert [x.id for x in lines] == ["flange", "hub-2"]
    assert [note.partition(": ")[2] for note in notes] == [
        "counted again: 1 cut, for which the earlier plan had no line",
        "counted for no line: 1 cut on P hub; the order has no line of this part and reference",
    ]
    assert ids([wanted(reference="A", due=FIRST)], plan) == ["flange-2"]


def test_a_line_of_an_older_plan_that_lay_nowhere_is_known_by_its_name() -> None:
    plan = former((wanted(), 0))
    plan = replace(plan, lines=tuple(replace(x, shape=None, thickness_mm=None) for x in plan.lines))

    assert ids([wanted()], plan) == ["flange"]
    assert ids([wanted("hub")], plan) == ["hub"]


def test_failed_parts_are_not_counted() -> None:
    plan = former((wanted(), 1), failed={"flange": 1})

    assert named([], plan) == ([], [])
