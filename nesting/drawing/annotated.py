"""Tell a drawing sheet, with border, title block and dimensions, from a drawing that can be cut."""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from nesting.drawing.chain import Chained
from nesting.drawing.entities import Drawn, Gathered
from nesting.drawing.findings import NoPartsError
from nesting.geometry.curves import Line, Polyline
from nesting.tolerances import JOIN_WARN_MM

_NOTES: Final = ("DIMENSION", "LEADER", "MULTILEADER", "OLE2FRAME")
_TEXTS_WITH_TABLE: Final = 5
_TEXTS_ALONE: Final = 15


def refuse_annotated(path: Path, cut: Sequence[Drawn], gathered: Gathered, chained: Chained) -> None:
    """Raise `NoPartsError` for a sheet: dimensions, many texts, and straight lines along all four sides of it all.

    A border or title block would become a part, and views of one part several.  Where lines end on others, as in the
    table of a title block, few texts are enough; a plain rectangular part with dimensions is no sheet.
    """
    notes = sum(gathered.counts.get(kind, 0) for kind in _NOTES)
    texts = len(gathered.written)
    table = any(f.kind == "shared lines" for f in chained.findings)
    if not notes or texts < (_TEXTS_WITH_TABLE if table else _TEXTS_ALONE) or not _framed(cut):
        return
    raise NoPartsError(
        f"{path.name}: this is a drawing sheet with border, {notes} dimensions or notes and {texts} texts, not a cut "
        "file; export the flat part alone",
        chained.findings,
        [d.curve for d in cut],
    )


def _framed(cut: Sequence[Drawn]) -> bool:
    """Tell whether straight lines run along most of each side of the box round everything."""
    if not cut:
        return False
    points = np.vstack([d.curve.points(1.0) for d in cut])
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    along = dict.fromkeys(("left", "right", "bottom", "top"), 0.0)
    for d in cut:
        for piece in d.curve.pieces if isinstance(d.curve, Line | Polyline) else ():
            (ax, ay), (bx, by) = piece.start, piece.end
            for side, a, b, at in (("left", ax, bx, x0), ("right", ax, bx, x1)):
                if abs(a - at) < JOIN_WARN_MM and abs(b - at) < JOIN_WARN_MM:
                    along[side] += abs(by - ay) / max(y1 - y0, 1e-9)
            for side, a, b, at in (("bottom", ay, by, y0), ("top", ay, by, y1)):
                if abs(a - at) < JOIN_WARN_MM and abs(b - at) < JOIN_WARN_MM:
                    along[side] += abs(bx - ax) / max(x1 - x0, 1e-9)
    return all(part > 0.9 for part in along.values())
