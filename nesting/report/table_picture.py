"""The picture of a plate on the table: travel, outline with its letters, parts, and where the torch stood."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke

from nesting.corner_names import named_corners
from nesting.geometry.largest import largest_circle
from nesting.geometry.pose import Point
from nesting.layout import Layout
from nesting.tolerances import NESTING_CHORD_MM
from nesting.units import Unit, from_mm

_STYLE: Final[dict[Any, Any]] = {"svg.fonttype": "path", "svg.hashsalt": "oddplate", "hatch.linewidth": 0.6}
_WIDEST_IN, _HIGHEST_IN, _TITLE_IN = 11.0, 8.0, 0.5
_ZERO_NEAR: Final = 0.5
_HALO: Final = [withStroke(linewidth=3, foreground="white")]
Box = tuple[float, float, float, float]


def draw_on_table(
    layout: Layout,
    path: Path,
    *,
    read: Sequence[tuple[str, Point]],
    travel: Box | None,
    cuts: Box | None,
    title: str,
    unit: Unit = "mm",
    dpi: int = 130,
) -> None:
    """Write a PNG of a layout in table coordinates.

    `read` are names and places of what was read out, `travel` the table's travel, `cuts` the box round all cuts.
    """
    with mpl.rc_context(_STYLE):
        figure = _figure(layout, read, travel, cuts, title, unit)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", dpi=dpi, metadata={"Software": None})
    path.write_bytes(buffer.getvalue())


def _figure(
    layout: Layout, read: Sequence[tuple[str, Point]], travel: Box | None, cuts: Box | None, title: str, unit: Unit
) -> Figure:
    shape = layout.plate.fine_polygon
    x0, y0, x1, y1 = _view(shape, cuts)
    edge = 0.13 * max(x1 - x0, y1 - y0)
    width, height = x1 - x0 + 2 * edge, y1 - y0 + 2 * edge
    scale = min(_WIDEST_IN / width, _HIGHEST_IN / height)
    figure = Figure(figsize=(max(width * scale, 6.0), height * scale + 2 * _TITLE_IN))
    FigureCanvasAgg(figure)
    share = _TITLE_IN / figure.get_figheight()
    axes = figure.add_axes((0.0, share, 1.0, 1.0 - 2 * share))
    axes.set(xlim=(x0 - edge, x1 + edge), ylim=(y0 - edge, y1 + edge), aspect="equal")
    axes.axis("off")
    _add_zero(axes, edge)
    if travel:
        _add_box(axes, travel, linewidth=2.2, linestyle=(0, (7, 3)))
    axes.add_patch(_patch(shape, facecolor="#f0f0f0", edgecolor="black", linewidth=1.8))
    for keep_out in layout.plate.keep_outs:
        area = keep_out.contour.polygon(NESTING_CHORD_MM, "midway").intersection(shape)
        if not area.is_empty:
            axes.add_patch(_patch(area, facecolor="white", edgecolor="black", hatch="xxx", linewidth=0.8))
    _add_parts(axes, layout, scale)
    if cuts:
        _add_box(axes, cuts, linewidth=1.0, linestyle=(0, (1, 3)))
    _add_corners(axes, layout, read, edge, unit)
    figure.text(0.5, 1.0 - 0.5 * share, title, ha="center", va="center", fontsize=10)
    legend = ("dashed: travel of the machine; " if travel else "") + f"dotted: all cuts; cross: read out, {unit}"
    figure.text(0.5, 0.5 * share, legend, ha="center", va="center", fontsize=9)
    return figure


def _view(shape: shapely.Geometry, cuts: Box | None) -> Box:
    """The box round plate and cuts, and round the machine's zero where that is near."""
    boxes = np.array([shape.bounds, *([cuts] if cuts else [])])
    (x0, y0), (x1, y1) = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    size = max(x1 - x0, y1 - y0)
    if max(x0, -x1, y0, -y1) < _ZERO_NEAR * size:
        x0, y0, x1, y1 = min(x0, 0.0), min(y0, 0.0), max(x1, 0.0), max(y1, 0.0)
    return (float(x0), float(y0), float(x1), float(y1))


def _add_parts(axes: Axes, layout: Layout, scale: float) -> None:
    parts = layout.parts
    for placement in layout.placements:
        shape = placement.pose.geometry(parts[placement.part_id].fine_polygon)
        axes.add_patch(_patch(shape, facecolor="white", edgecolor="black", linewidth=0.8))
        at, radius = largest_circle(shape)
        size = min(11.0, 72.0 * scale * radius)
        if size >= 4.0:
            axes.text(*at, str(placement.number), fontsize=size, ha="center", va="center")


def _add_corners(axes: Axes, layout: Layout, read: Sequence[tuple[str, Point]], edge: float, unit: Unit) -> None:
    """Letters of all corners; those read out, and other points, with a cross and their readout."""
    seen = dict(read)
    middle = layout.plate.fine_polygon.centroid
    corners = {c.name: c.point for c in named_corners(layout.plate)}
    for name, at in {**seen, **corners}.items():
        out = np.array([at[0] - middle.x, at[1] - middle.y])
        away = out / max(float(np.hypot(*out)), 1e-9)
        text = name
        if name in seen:
            x, y = (from_mm(v, unit) for v in seen[name])
            text = f"{name}\nX {x:.{1 if unit == 'mm' else 2}f}\nY {y:.{1 if unit == 'mm' else 2}f}"
            axes.plot(*seen[name], marker="+", markersize=14, markeredgewidth=1.8, color="black")
        place = np.array(at) + (0.55 if name in seen else 0.3) * edge * away
        axes.text(
            float(place[0]),
            float(place[1]),
            text,
            fontsize=9,
            weight="bold",
            ha="center",
            va="center",
            path_effects=_HALO,
        )


def _add_zero(axes: Axes, edge: float) -> None:
    """The machine's zero, with its axes."""
    for x, y, name in ((0.6 * edge, 0.0, "X"), (0.0, 0.6 * edge, "Y")):
        arrow = {"arrowstyle": "->", "linewidth": 1.2, "color": "#666666"}
        axes.annotate("", xy=(x, y), xytext=(0.0, 0.0), arrowprops=arrow, annotation_clip=True)
        axes.text(1.2 * x, 1.2 * y, name, fontsize=8, color="#666666", ha="center", va="center", clip_on=True)
    axes.text(-0.1 * edge, -0.1 * edge, "0", fontsize=9, color="#666666", ha="right", va="top", clip_on=True)


def _add_box(axes: Axes, box: Box, **style: Any) -> None:
    x0, y0, x1, y1 = box
    axes.add_patch(Rectangle((x0, y0), x1 - x0, y1 - y0, fill=False, edgecolor="black", **style))


def _patch(shape: shapely.Geometry, **style: Any) -> PathPatch:
    rings = []
    for polygon in shapely.get_parts(shape):
        turned = shapely.orient_polygons(polygon)
        rings += [Outline(shapely.get_coordinates(r), closed=True) for r in (turned.exterior, *turned.interiors)]
    return PathPatch(Outline.make_compound_path(*rings), **style)
