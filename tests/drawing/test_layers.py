"""Colours of written layers: seen on a dark ground and on paper, and the same by number and by name."""

import ezdxf.colors
import pytest

from nesting.drawing.layers import COLOURS, PART_INSIDE, PART_OUTSIDE, STROKES


def luminance(rgb: tuple[int, int, int]) -> float:
    """Relative luminance of sRGB, as WCAG 2.1 defines it."""
    shares = [v / 255 for v in rgb]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: tuple[int, int, int], other: tuple[int, int, int]) -> float:
    """Contrast ratio, WCAG 2.1."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_of_the_standard():
    """Black on white is 21:1 (WCAG 2.1)."""
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)


def test_outside_cuts_are_seen_on_dark_and_on_white():
    """3:1 is what WCAG 2.1, 1.4.11 asks of lines that must be told; pure blue, ACI 5, has 2.4:1 on black."""
    colour = ezdxf.colors.int2rgb(int(STROKES[PART_OUTSIDE][1:], 16))
    assert contrast((0, 0, 255), (0, 0, 0)) == pytest.approx(2.44, abs=0.01)
    assert contrast(colour, (0, 0, 0)) > 3.0 and contrast(colour, (255, 255, 255)) > 3.0


def test_number_and_name_of_the_colours_that_are_cut_agree():
    for layer in (PART_OUTSIDE, PART_INSIDE):
        assert ezdxf.colors.aci2rgb(COLOURS[layer]).to_hex() == STROKES[layer]


def test_outside_and_inside_differ_in_hue_and_lightness():
    outside, inside = (luminance(ezdxf.colors.aci2rgb(COLOURS[n])) for n in (PART_OUTSIDE, PART_INSIDE))
    assert inside > 1.3 * outside
