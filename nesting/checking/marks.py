"""Marks of a drawing against its layout: nothing there is cut, so that what differs is told and breaks no rule."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
import shapely

from nesting.checking.contours import points_on
from nesting.checking.rules import usable
from nesting.drawing.readback import CutDrawing
from nesting.geometry.curves import Curve
from nesting.layout import Layout, Placement

_OFF_MM: Final = 0.01
"""A mark this near to its place is in it."""

_CHORD_MM: Final = 0.001


def marks_differ(cuts: CutDrawing, layout: Layout) -> list[str]:
    """Return what is not as the layout has it among the marks: curves by their places, texts by their words."""
    placements = [p for p in layout.placements if usable(p) and p.part_id in layout.parts]
    wanted = [m.curve.posed(p.pose) for p in placements for m in layout.parts[p.part_id].marks]
    words = Counter(_words(layout, placements))
    drawn_words = Counter(map(_plain, cuts.mark_texts))
    if not (cuts.marks or drawn_words):
        total = len(wanted) + words.total()
        return [f"the drawing holds none of the layout's {total} marks"] if total else []
    told = [
        _told(_astray(wanted, cuts.marks), "of the layout are not in the drawing"),
        _told(_astray(cuts.marks, wanted), "of the drawing are not in the layout"),
    ]
    for text, count in ((words - drawn_words) + (drawn_words - words)).items():
        where = "the layout" if words[text] > drawn_words[text] else "the drawing"
        told.append(f"marked text {text!r} stands {count} times more in {where}")
    return [text for text in told if text]


def _words(layout: Layout, placements: Sequence[Placement]) -> Iterator[str]:
    for placement in placements:
        yield from (_plain(line.text) for line in layout.parts[placement.part_id].texts)


def _plain(text: str) -> str:
    return " ".join(text.split())


def _astray(some: Sequence[Curve], others: Sequence[Curve]) -> list[Curve]:
    """Return the curves that do not lie on others."""
    points = [(p, k) for k, curve in enumerate(some) for piece in curve.pieces for p in (*points_on(piece), piece.end)]
    if not points or not others:
        return list(some)
    tree = shapely.STRtree([shapely.LineString(curve.points(_CHORD_MM)) for curve in others])
    places = shapely.points([p for p, _ in points])
    on_others = np.unique(tree.query(places, predicate="dwithin", distance=_OFF_MM)[0])
    astray = {points[i][1] for i in np.setdiff1d(np.arange(len(points)), on_others).tolist()}
    return [curve for k, curve in enumerate(some) if k in astray]


def _told(curves: Sequence[Curve], tale: str) -> str:
    if not curves:
        return ""
    x, y = curves[0].start
    return f"{len(curves)} curves of marks {tale} as they are there, the first at ({x:.2f}, {y:.2f}) mm"
