"""The strip below the picture of a cut sheet: scale bar, what the hatches mean, the grain."""

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from nesting.geometry.pose import Point
from nesting.report.printing import CAP_HEIGHT
from nesting.report.scene import Scene
from nesting.report.sheet.marks import Frame, Stroke, Words, arrow_head, hatch
from nesting.report.wording import short
from nesting.units import Unit, from_mm, to_mm

STRIP_MM: Final = 7.5
"""Its height."""

PART_GREY: Final = 0.88
MARK_MM: Final = 0.18
MARK_DASH: Final = (1.2, 0.8)
"""Bend lines and marks are not cut: thin and broken."""

_WORDS_MM: Final = 2.4
_BAR_SHARE: Final = 0.18
_EASILY_HELD: Final = 3
_LEAST_GAP_MM: Final = 1.2
_SIGN_MM: Final = 7.0
"""A box of the legend with the room behind it."""


def strip(drawn: Scene, frame: Frame, unit: Unit, width_mm: float) -> Iterator[Stroke | Words]:
    """Scale bar, what the hatches mean, and the grain; side by side, closer together where the picture is narrow."""
    y, size = STRIP_MM / 2 - 0.6, _WORDS_MM / CAP_HEIGHT
    signs = list(_legend(drawn))
    many = len(signs) > _EASILY_HELD  # then the bar gives way, or words would stand on one another
    length = _bar_mm(_BAR_SHARE * (0.5 if many else 1.0) * width_mm / frame.scale, unit)
    bar = length * frame.scale
    yield Stroke(rings=(np.array([(0.5, y), (0.5 + bar, y)]),), width_mm=0.7)
    for x in (0.5, 0.5 + bar):
        yield Stroke(rings=(np.array([(x, y - 1.2), (x, y + 1.2)]),), width_mm=0.35)
    grain = [] if drawn.grain_deg is None else list(_grain(drawn.grain_deg, (width_mm - 6.5, y), size))
    told = [Words(text=f"{from_mm(length, unit):g} {short(unit)}", at=(bar + 1.8, y), size_mm=size, anchor="start")]
    told += [Words(text=text, at=(0.0, y), size_mm=size, anchor="start") for text, _ in signs]
    free = min([width_mm, *(words.box.bounds[0] for words in grain if isinstance(words, Words))])
    room, wide = free - bar - 1.8 - _SIGN_MM * len(signs), sum(words.width_mm for words in told)
    gap = min(6.0, max(_LEAST_GAP_MM, (room - wide) / (len(signs) + 1)))
    fits = min(1.0, (room - gap * (len(signs) + 1)) / wide)
    told = [replace(words, size_mm=fits * words.size_mm) for words in told]
    yield told[0]
    at = bar + 1.8 + told[0].width_mm + gap
    for (_, strokes), words in zip(signs, told[1:], strict=True):
        yield from (replace(stroke, rings=tuple(r + (at, y - 1.6) for r in stroke.rings)) for stroke in strokes)
        yield replace(words, at=(at + _SIGN_MM, y))
        at += _SIGN_MM + words.width_mm + gap
    yield from grain


def _bar_mm(longest_mm: float, unit: Unit) -> float:
    """Return the largest 1, 2 or 5 times a power of ten of the unit up to a length."""
    longest = from_mm(longest_mm, unit)
    power = 10.0 ** math.floor(math.log10(longest))
    return to_mm(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= longest), unit)


def _legend(drawn: Scene) -> Iterator[tuple[str, tuple[Stroke, ...]]]:
    """A small box of each kind of area that the picture holds, and what it means."""
    box = shapely.box(0.0, 0.0, 5.6, 3.2)
    plain = Frame(scale=1.0, left=0.0, low=0.0)
    if drawn.pieces:
        yield "part", (Stroke(rings=plain.rings(box), closed=True, width_mm=0.28, fill=PART_GREY),)
    if drawn.remnants:
        edge = Stroke(rings=plain.rings(box), closed=True, width_mm=0.25, dash=(1.6, 0.9), grey=0.2)
        yield "keep", (hatch(box, plain, 45.0, 1.6, width=0.13, grey=0.35), edge)
    if drawn.keep_outs:
        hatches = [hatch(box, plain, turn, 1.2, width=0.2, grey=0.0) for turn in (45.0, 135.0)]
        yield "keep-out", (*hatches, Stroke(rings=plain.rings(box), closed=True, width_mm=0.35))
    if any(piece.marks for piece in drawn.pieces):
        across = np.array([(0.0, 1.6), (5.6, 1.6)])
        yield "bend, mark", (Stroke(rings=(across,), width_mm=MARK_MM, dash=MARK_DASH),)


def _grain(turn_deg: float, middle: Point, size: float) -> Iterator[Stroke | Words]:
    """An arrow with two heads along the grain, its word before it."""
    turn = math.radians(turn_deg)
    dx, dy = math.cos(turn), math.sin(turn)
    (x, y), reach = middle, min(6.0, 3.2 / max(abs(dy), 1e-9))
    tips = [(x - reach * dx, y - reach * dy), (x + reach * dx, y + reach * dy)]
    yield Stroke(rings=(np.array(tips),), width_mm=0.5)
    yield arrow_head(tips[0], (-dx, -dy), 2.2)
    yield arrow_head(tips[1], (dx, dy), 2.2)
    yield Words(text="grain", at=(x - reach * abs(dx) - 2.0, y), size_mm=size, bold=True, anchor="end")
