"""Torch readouts: the machine's own position at every corner, on arcs, or along edges touched with a round tip."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.outline.bounds import worst_sigma
from nesting.outline.captured import Captured
from nesting.outline.fits import fit_line
from nesting.outline.pasted import Pasted, Row
from nesting.outline.rings import ring
from nesting.outline.spelled import Columns, Decimal, columns_in, read_position, unit_said
from nesting.outline.traced import Drawn, Section, Spot, captured, drawn, sections
from nesting.units import Unit

Floats = NDArray[np.float64]

SIGMA_MM: Final = 0.5
"""How far a corner seen under the torch scatters in x and in y, one standard deviation (common practice, no source)."""

CLOSING_MM: Final = 1.0
"""More between first and last reading of one point means that plate or machine moved (common practice, no source)."""

_SAME_POINT_MM: Final = 15.0
_SHARP_DEG: Final = 5.0


def from_readouts(
    pasted: Pasted,
    *,
    unit: Unit = "mm",
    sigma_mm: float = SIGMA_MM,
    closing_limit_mm: float = CLOSING_MM,
    touch_radius_mm: float = 0.0,
    decimal: Decimal | None = None,
) -> Captured:
    """Return the plate of positions read off the machine, in the machine's own place.

    The outline's first point taken again at its end is the closing check and no corner.  Points called `arc` lie on
    an arc between the corners beside them.  After a line `edge` points are touches on one straight edge, and corners
    lie where the fitted edges meet; with `touch_radius_mm` the tip's radius is taken out of edges and circles: a hole
    was touched from inside, all else from outside.

    Raise `InputError` with the line for what cannot be read, for a closing error above `closing_limit_mm`, for a
    touch radius where nothing says which edge was touched, and for holes that reach beyond the outline.
    """
    found = sections(pasted, _Reader(unit, decimal))
    outline = next(s for s in found if s.kind == "outline")
    closing = _closing(outline, pasted.name, closing_limit_mm)
    shapes: list[tuple[Section, Drawn]] = []
    for section in found:
        if section.edges:
            shapes.append((section, _touched(section, pasted.name, touch_radius_mm, sigma_mm)))
        elif section.round:
            shapes.append((section, drawn(section, pasted.name, grown_mm=_tip_out(section, touch_radius_mm))))
        elif touch_radius_mm:
            raise InputError(
                f"{pasted.name}, line {section.line}: a touch radius, and corners of {section.kind}: a round "
                "tip touches edges, not corners; write 'edge' before the touches of each edge (two or more), or "
                f"'{section.kind} circle' where it is round"
            )
        else:
            shapes.append((section, drawn(section, pasted.name)))
    checked = (
        []
        if closing is not None or outline.edges
        else ["the first point was not taken again at the end: a plate that moved goes unnoticed"]
    )
    return captured(
        "torch readouts",
        shapes,
        source=pasted.name,
        sigma_mm=sigma_mm,
        more_mm=closing or 0.0,
        notes=[] if closing is None else [f"first point taken again: {closing:.2f} mm off, added to the uncertainty"],
        warnings=checked,
        figures={"closing_mm": None if closing is None else round(closing, 4)},
    )


class _Reader:
    """Reads one position a line; headings above and units set by a program's lines hold for all that follow."""

    def __init__(self, unit: Unit, decimal: Decimal | None) -> None:
        self.unit = unit
        self.decimal = decimal
        self.columns: Columns | None = None
        self.started = False

    def __call__(self, row: Row) -> Spot | None:
        if not self.started:
            self.columns = columns_in(row) or self.columns
            if columns_in(row):
                return None
        self.unit = unit_said(row.text) or self.unit
        position = None
        if not _only_codes(row.text):
            position = read_position(row, self.unit, columns=self.columns, decimal=self.decimal)
        if position is None:
            if self.started and not _only_codes(row.text):
                row.refuse(f"{row.text!r} is no position", "write one such as X123.4 Y56.7")
            return None
        self.started = True
        return Spot(line=row.line, at=position.at, on_arc=position.on_arc)


def _only_codes(text: str) -> bool:
    """True for a program's line without a position, such as `G21 G90`."""
    words = text.replace("%", " ").split()
    return all(w[:1].upper() in "GMTSFN" and w[1:].replace(".", "").isdigit() for w in words)


def _closing(outline: Section, source: str, limit_mm: float) -> float | None:
    """Take a repeated first point off the outline; return how far off it was, None if there is none."""
    if len(outline.spots) < 4 or outline.edges:
        return None
    first, last = outline.spots[0], outline.spots[-1]
    off = math.dist(first.at, last.at)
    if off > _SAME_POINT_MM or last.on_arc:
        return None
    if off > limit_mm:
        raise InputError(
            f"{source}, line {last.line}: the first point (line {first.line}) taken again is {off:.2f} mm off, "
            f"more than {limit_mm:g}: plate or machine moved; take all points again (if it is another corner, write "
            "the first point once more behind it)"
        )
    outline.spots.pop()
    return off


def _tip_out(section: Section, radius_mm: float) -> float:
    """How far the true edge lies outside of where a tip's middle ran: a hole is touched from inside, all else not."""
    return radius_mm if section.kind == "hole" else -radius_mm


def _touched(section: Section, source: str, radius_mm: float, sigma_mm: float) -> Drawn:
    """Corners where the edges through their touches meet, and how far these scatter for points that do by 1 mm."""
    where = f"{source}, line {section.line} ({section.kind})"
    starts = section.edges
    if starts[0] != 0:
        raise InputError(f"{where}: points before the first line 'edge'; say to which edge they belong")
    runs = [section.spots[a:b] for a, b in zip(starts, [*starts[1:], len(section.spots)], strict=True)]
    if len(runs) < 3:
        raise InputError(f"{where}: touches on {len(runs)} edges; a closed outline has three or more")
    for number, run in enumerate(runs, start=1):
        if len(run) < 2:
            raise InputError(f"{where}: edge {number} has {len(run)} touch; take two or more, far apart")
        if any(s.on_arc for s in run):
            raise InputError(f"{where}: edge {number} has points called arc; touches are for straight edges")
    counts = [len(run) for run in runs]
    points = np.array([s.at for run in runs for s in run])
    shift = _tip_out(section, radius_mm)
    corners = _meeting(points, counts, shift, where)
    slopes = np.empty((2 * len(runs), 2 * len(points)))
    for k in range(2 * len(points)):
        moved = points.copy()
        moved[k // 2, k % 2] += 1e-3
        slopes[:, k] = (_meeting(moved, counts, shift, where) - corners).ravel() / 1e-3
    off = max(float(np.abs(fit_line([s.at for s in run]).off).max()) for run in runs)
    contour = ring([(float(x), float(y), 0.0) for x, y in corners], where)
    return Drawn(contour=contour, spread=worst_sigma(slopes @ slopes.T), off_mm=max(0.0, off - 2.0 * sigma_mm))


def _meeting(points: Floats, counts: Sequence[int], outward_mm: float, where: str) -> Floats:
    """Where neighbouring edges meet, each moved out of the outline by `outward_mm`."""
    middles = np.array([run.mean(axis=0) for run in np.split(points, np.cumsum(counts)[:-1])])
    x, y = middles.T
    sense = 1.0 if x @ np.roll(y, -1) - y @ np.roll(x, -1) > 0.0 else -1.0
    lines = []
    for k, run in enumerate(np.split(points, np.cumsum(counts)[:-1])):
        try:
            fit = fit_line(run)
        except ValueError as error:
            raise InputError(f"{where}: edge {k + 1}: {error}; take its touches far apart") from None
        along = middles[(k + 1) % len(counts)] - middles[k - 1]
        direction = fit.direction if fit.direction @ along >= 0.0 else -fit.direction
        out = sense * np.array([direction[1], -direction[0]])
        lines.append((fit.middle + outward_mm * out, direction))
    corners = []
    for k, (at, along) in enumerate(lines):
        before, came = lines[k - 1]
        cross = came[0] * along[1] - came[1] * along[0]
        if abs(cross) < math.sin(math.radians(_SHARP_DEG)):
            raise InputError(
                f"{where}: edges {k or len(lines)} and {k + 1} run nearly the same way, and where they meet is "
                "not to be told: touch them as one edge, or give the corner itself"
            )
        away = at - before
        corners.append(before + came * (away[0] * along[1] - away[1] * along[0]) / cross)
    return np.array(corners)
