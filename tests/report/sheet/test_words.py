"""Lengths in words: nothing is said larger than it is where a size is what can be used."""

import pytest

from nesting.report.sheet.words import Lengths


@pytest.mark.parametrize(
    ("sides_mm", "told"),
    [((1000.0, 527.5), "1000 x 527"), ((599.9999, 0.4), "600 x 0"), ((799.98, 300.0), "799 x 300")],
)
def test_rough_sizes_are_rounded_down(sides_mm: tuple[float, float], told: str) -> None:
    assert Lengths().rough(sides_mm) == told


@pytest.mark.parametrize(
    ("length_mm", "lengths", "text"),
    [
        (1442.0, Lengths(), "1442"),
        (73.46, Lengths(), "73.5"),
        (25.4, Lengths(unit="inch"), "1"),
        (1441.45, Lengths(unit="inch"), "56\u00a03/4"),
        (9.525, Lengths(unit="inch"), "3/8"),
        (12.7 + 25.4 / 32, Lengths(unit="inch", fraction=32), "17/32"),
        (25.4 * 40.9999, Lengths(unit="inch"), "41"),
        (100.0, Lengths(unit="inch", fraction=0), "3.937"),
    ],
)
def test_lengths_as_a_tape_reads_them(length_mm: float, lengths: Lengths, text: str):
    assert lengths.number(length_mm) == text


def test_readouts_are_decimals_and_no_zero_is_negative():
    assert Lengths(unit="inch").place((1092.0, -1e-9)) == "X\u00a042.992 Y\u00a00.000"
    assert Lengths().place((-0.04, 12.35)) == "X\u00a00.0 Y\u00a012.3"
