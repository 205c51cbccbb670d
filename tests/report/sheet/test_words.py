"""Lengths in words: nothing is said larger than it is where a size is what can be used."""

import pytest

from nesting.report.sheet.words import Lengths


@pytest.mark.parametrize(
    ("sides_mm", "told"),
    [((1000.0, 527.5), "1000 x 527"), ((599.9999, 0.4), "600 x 0"), ((799.98, 300.0), "799 x 300")],
)
def test_rough_sizes_are_rounded_down(sides_mm: tuple[float, float], told: str) -> None:
    assert Lengths().rough(sides_mm) == told
