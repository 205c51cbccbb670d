"""What may be cut from what, and which lines and pieces go together."""

import pytest
from batch_orders import batch, line, remnant, sheet

from nesting.demand import Turns
from nesting.errors import JobError


def test_thickness_grade_and_grain_decide_what_serves() -> None:
    lines = [
        line("six", 10, 10, thickness=6.0),
        line("six of a grade", 10, 10, thickness=6.0, grade="S235JR"),
        line("ten", 10, 10, thickness=10.0),
        line("along", 10, 10, thickness=6.0, turns=Turns(rule="grain")),
    ]
    pieces = [
        remnant("plain", 100, 100, thickness=6.0),
        remnant("graded", 100, 100, thickness=6.0, grade="s235 jr"),
        remnant("other", 100, 100, thickness=6.0, grade="S355"),
        remnant("grained", 100, 100, thickness=10.0, grain=0.0),
    ]

    serves = batch(lines, pieces).serves

    assert serves == ((0,), (0, 1), (0,), (2,))


def test_an_unknown_grade_serves_a_line_only_if_it_is_trusted() -> None:
    lines, pieces = [line("a", 10, 10, grade="S235JR")], [remnant("r", 100, 100)]
    refused, accepted = batch(lines, pieces), batch(lines, pieces, frozenset({"a"}))

    assert refused.serves == ((),)
    assert refused.why_not(refused.lines[0], refused.pieces[0].plate) == "its grade is not known"
    assert accepted.serves == ((0,),)


def test_an_order_falls_apart_where_no_piece_serves_both() -> None:
    lines = [line("a", 10, 10, thickness=6.0), line("b", 10, 10, thickness=10.0), line("c", 10, 10, thickness=6.0)]
    pieces = [
        remnant("x", 50, 50, thickness=10.0),
        remnant("y", 50, 50, thickness=6.0),
        remnant("z", 9, 9, thickness=3.0),
    ]

    parts = batch(lines, pieces).parts()

    assert [([n.id for n in p.lines], [q.id for q in p.pieces]) for p in parts] == [(["a", "c"], ["y"]), (["b"], ["x"])]


def test_names_are_told_apart() -> None:
    with pytest.raises(JobError, match="more than one piece of this name"):
        batch([line("a", 1, 1)], [remnant("r", 9, 9), remnant("r", 9, 9)])
    with pytest.raises(ValueError, match="there is one of a remnant"):
        remnant("r", 9, 9).__class__(
            id="r", plate=remnant("r", 9, 9).plate, clearances=remnant("r", 9, 9).clearances, count=2
        )
    assert sheet("s", 9, 9, 5.0).worth == 0.0
