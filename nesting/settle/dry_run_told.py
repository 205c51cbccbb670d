"""The points of a dry run with the torch off, as text and as a table."""

import csv
import io
from collections.abc import Iterator
from typing import Final

from nesting.settle.outcome import Outcome
from nesting.settle.wording import shown
from nesting.units import from_mm

CAUTIONS: Final = (
    "Dry run with the torch off and raised, slowly, hands and sleeves away from gantry and plate.",
    "Somebody stands at the stop button; the machine's own manual and the rules of the shop come first.",
    "Go on only where the torch stands over each corner as it is named, and all cuts over steel.",
)
"""Common practice, no source."""


def dry_run_lines(outcome: Outcome) -> Iterator[str]:
    """Return the points of the dry run as text; none where the readouts do not fit."""
    run, unit = outcome.dry_run, outcome.choices.unit
    if run is None or outcome.layout is None:
        return
    yield f"dry run with the torch off, layout {outcome.layout.id}, table coordinates in {unit}:"
    for point in (*run.outline, *run.holes):
        yield f"  {point.name:<7} X {shown(point.point[0], unit):>8}  Y {shown(point.point[1], unit):>8}"
    if run.cuts is not None:
        x0, y0, x1, y1 = (shown(v, unit) for v in run.cuts)
        yield f"  all cuts lie between X {x0} and {x1}, Y {y0} and {y1}"
    yield from CAUTIONS


def dry_run_table(outcome: Outcome) -> str:
    """Return the points as comma-separated values, in millimetres and inches."""
    run = outcome.dry_run
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(("point", "x_mm", "y_mm", "x_inch", "y_inch"))
    if run is None:
        return text.getvalue()
    points = [(p.name, p.point) for p in (*run.outline, *run.holes)]
    if run.cuts is not None:
        x0, y0, x1, y1 = run.cuts
        box = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
        points += [(f"cuts {k}", at) for k, at in enumerate(box, start=1)]
    for name, (x, y) in points:
        rows.writerow((name, f"{x:.3f}", f"{y:.3f}", f"{from_mm(x, 'inch'):.4f}", f"{from_mm(y, 'inch'):.4f}"))
    return text.getvalue()
