"""The picture of a plate: outline with its corners, holes, keep-outs, and what to tape before cutting."""

import io
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke
from shapely.geometry import MultiPolygon, Polygon

from nesting.geometry.pose import Point
from nesting.geometry.tape_checks import TapeCheck
from nesting.plate import Plate
from nesting.tolerances import NESTING_CHORD_MM
from nesting.units import Unit, from_mm

_FORMATS: Final = {".png": "png", ".svg": "svg", ".pdf": "pdf"}
_STYLE: Final[dict[Any, Any]] = {"svg.fonttype": "path", "svg.hashsalt": "oddplate", "hatch.linewidth": 0.6}
_WIDEST_IN, _HIGHEST_IN = 10.0, 7.5
_HALO: Final = [withStroke(linewidth=3, foreground="white")]


def draw_plate(
    plate: Plate,
    path: Path,
    *,
    corners: Sequence[tuple[str, Point]] = (),
    checks: Sequence[TapeCheck] = (),
    title: str = "",
    unit: Unit = "mm",
    dpi: int = 130,
) -> None:
    """Write the picture of a plate; the ending of `path` (.png, .svg, .pdf) says the format.

    `corners` are names and places, `checks` the distances to tape.  Raises ValueError for another ending.
    """
    form = _FORMATS.get(path.suffix.lower())
    if form is None:
        raise ValueError(f"{path.name}: a picture ends in one of {', '.join(_FORMATS)}")
    with mpl.rc_context(_STYLE):
        figure = _figure(plate, corners, checks, title, unit)
        buffer = io.BytesIO()
        metadata = {"svg": {"Date": None}, "pdf": {"CreationDate": None}, "png": {"Software": None}}[form]
        figure.savefig(buffer, format=form, dpi=dpi, metadata=metadata)
    path.write_bytes(buffer.getvalue())


def _figure(
    plate: Plate, corners: Sequence[tuple[str, Point]], checks: Sequence[TapeCheck], title: str, unit: Unit
) -> Figure:
    shape = plate.outer.polygon(NESTING_CHORD_MM, "midway")
    x0, y0, x1, y1 = shape.bounds
    edge = 0.12 * max(x1 - x0, y1 - y0)
    width, height = x1 - x0 + 2 * edge, y1 - y0 + 2 * edge
    scale = min(_WIDEST_IN / width, _HIGHEST_IN / height)
    figure = Figure(figsize=(width * scale, height * scale + 0.5))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, height * scale / (height * scale + 0.5)))
    axes.set(xlim=(x0 - edge, x1 + edge), ylim=(y0 - edge, y1 + edge), aspect="equal")
    axes.axis("off")
    axes.add_patch(_patch(plate.fine_polygon, facecolor="#ededed", edgecolor="black", linewidth=1.6))
    for keep_out in plate.keep_outs:
        area = keep_out.contour.polygon(NESTING_CHORD_MM, "midway")
        axes.add_patch(_patch(area, facecolor="white", edgecolor="black", hatch="xxx", linewidth=0.8))
    for check in checks:
        _add_check(axes, check, unit)
    for name, at in corners:
        place = _beside(shape, at, 0.35 * edge)
        axes.text(*place, name, fontsize=11, weight="bold", ha="center", va="center", path_effects=_HALO)
    figure.text(0.5, 1.0 - 0.22 / (height * scale + 0.5), title, ha="center", va="center", fontsize=9)
    return figure


def _beside(shape: Polygon | MultiPolygon, at: Point, away_mm: float) -> Point:
    """Return the place of a corner's letter: out of the plate along the line that halves the corner."""
    edge = max(shapely.get_parts(shape), key=lambda body: body.area).exterior
    along = edge.project(shapely.Point(at))
    before, after = (edge.interpolate((along + step) % edge.length) for step in (-away_mm, away_mm))
    x, y = at[0] - (before.x + after.x) / 2, at[1] - (before.y + after.y) / 2
    if math.hypot(x, y) < 0.05 * away_mm:  # hardly a corner: square to the edge
        x, y = after.y - before.y, before.x - after.x
    share = away_mm / math.hypot(x, y)
    place = (at[0] + share * x, at[1] + share * y)
    # A corner that points into the plate has the plate on the other side.
    return (at[0] - share * x, at[1] - share * y) if shape.contains(shapely.Point(place)) else place


def _add_check(axes: Axes, check: TapeCheck, unit: Unit) -> None:
    axes.plot(*zip(check.start, check.end, strict=True), color="#004d9a", linewidth=0.9, dashes=(6, 3))
    x, y = (0.4 * a + 0.6 * b for a, b in zip(check.start, check.end, strict=True))
    text = f"{from_mm(check.length_mm, unit):.{1 if unit == 'mm' else 2}f} {unit}"
    axes.text(x, y, text, fontsize=8, color="#004d9a", ha="center", va="center", path_effects=_HALO)


def _patch(shape: shapely.Geometry, **style: Any) -> PathPatch:
    rings = []
    for polygon in shapely.get_parts(shape):
        turned = shapely.orient_polygons(polygon)
        rings += [Outline(shapely.get_coordinates(r), closed=True) for r in (turned.exterior, *turned.interiors)]
    return PathPatch(Outline.make_compound_path(*rings), **style)
