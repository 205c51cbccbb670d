"""The picture of a layout for paper and screen: PNG, SVG or PDF, readable without colour."""

import io
import math
from pathlib import Path
from typing import Any

import matplotlib as mpl
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke

from nesting.layout import Layout
from nesting.remnant import Balance
from nesting.report.colours import pale
from nesting.report.scene import Label, Scene, Shape, scale_bar_mm, scene
from nesting.report.wording import short
from nesting.units import Unit, from_mm

_WIDEST_IN, _HIGHEST_IN = 11.0, 9.0
_CAP_HEIGHT = 0.72
_FORMATS = {".png": "png", ".svg": "svg", ".pdf": "pdf"}
# Text as paths and a fixed salt: the same layout gives the same file, and no reader needs our font.
_STYLE: dict[Any, Any] = {"svg.fonttype": "path", "svg.hashsalt": "oddplate", "hatch.linewidth": 0.6}


def draw_layout(layout: Layout, areas: Balance, path: Path, *, unit: Unit = "mm", dpi: int = 160) -> None:
    """Write the picture of a layout; the ending of `path` (.png, .svg, .pdf) says the format.

    Raises ValueError for another ending.
    """
    form = _FORMATS.get(path.suffix.lower())
    if form is None:
        raise ValueError(f"{path.name}: a picture ends in one of {', '.join(_FORMATS)}")
    drawn = scene(layout, areas)
    with mpl.rc_context(_STYLE):
        figure = _figure(drawn, unit)
        buffer = io.BytesIO()
        title = f"layout {layout.id}"
        metadata = {
            "svg": {"Date": None, "Title": title},
            "pdf": {"CreationDate": None, "Title": title},
            "png": {"Software": None, "Title": title},
        }[form]
        figure.savefig(buffer, format=form, dpi=dpi, metadata=metadata)
    path.write_bytes(buffer.getvalue())


def _figure(drawn: Scene, unit: Unit) -> Figure:
    scale = min(_WIDEST_IN / drawn.width_mm, _HIGHEST_IN / drawn.height_mm)
    figure = Figure(figsize=(drawn.width_mm * scale, drawn.height_mm * scale))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    x0, y0, x1, y1 = drawn.bounds
    axes.set(xlim=(x0, x1), ylim=(y0, y1), aspect="equal")
    axes.axis("off")
    axes.add_patch(_patch(drawn.plate, facecolor="#f4f4f4", edgecolor="none"))
    for _, shape in drawn.remnants:
        axes.add_patch(_patch(shape, facecolor="none", edgecolor="#9a9a9a", hatch="/", linewidth=0.5))
    for _, shape in drawn.keep_outs:
        axes.add_patch(_patch(shape, facecolor="white", edgecolor="black", hatch="xxx", linewidth=1.0))
    axes.add_patch(_patch(drawn.plate, facecolor="none", edgecolor="black", linewidth=1.8))
    for piece in drawn.pieces:
        axes.add_patch(_patch(piece.shape, facecolor=pale(piece.colour), edgecolor="black", linewidth=0.9))
        for points in piece.marks:
            axes.plot(points[:, 0], points[:, 1], color="black", linewidth=0.8, dashes=(5, 3))
    points_per_mm = scale * 72.0
    for label in drawn.labels:
        _add_label(axes, label, points_per_mm)
    _add_legend(axes, drawn, unit, points_per_mm)
    return figure


def _patch(shape: Shape, **style: Any) -> PathPatch:
    """One filled path with its holes; rings need opposite directions for that."""
    outlines = []
    for polygon in shapely.get_parts(shape):
        turned = shapely.orient_polygons(polygon)
        for ring in (turned.exterior, *turned.interiors):
            outlines.append(Outline(shapely.get_coordinates(ring), closed=True))
    return PathPatch(Outline.make_compound_path(*outlines), **style)


def _add_label(axes: Axes, label: Label, points_per_mm: float) -> None:
    if label.line is not None:
        (x0, y0), (x1, y1) = label.line
        axes.plot([x0, x1], [y0, y1], color="black", linewidth=0.6)
        axes.plot([x1], [y1], marker=".", markersize=3, color="black")
    axes.text(
        *label.at,
        label.text,
        fontsize=label.height_mm * points_per_mm / _CAP_HEIGHT * 0.9,
        ha="center",
        va="center_baseline",
        path_effects=[withStroke(linewidth=2.5, foreground="white")],
    )


def _add_legend(axes: Axes, drawn: Scene, unit: Unit, points_per_mm: float) -> None:
    """Scale bar below the plate, and the grain's direction where it is known."""
    (x0, y0, x1, _), text = drawn.bounds, drawn.text_mm
    left, low = x0 + 3 * text, y0 + 2.0 * text
    font: dict[str, Any] = {"fontsize": text * points_per_mm / _CAP_HEIGHT * 0.9, "va": "center"}
    length = scale_bar_mm(drawn, unit)
    axes.plot([left, left + length], [low, low], color="black", linewidth=2.0, solid_capstyle="butt")
    for x in (left, left + length):
        axes.plot([x, x], [low - 0.5 * text, low + 0.5 * text], color="black", linewidth=1.0)
    axes.text(left + length + text, low, f"{from_mm(length, unit):g} {short(unit)}", **font)
    if drawn.grain_deg is None:
        return
    turn = math.radians(drawn.grain_deg)
    dx, dy = 3 * text * math.cos(turn), 3 * text * math.sin(turn)
    x, y = x1 - 6 * text, low
    arrow = {"arrowstyle": "<->", "color": "black"}
    axes.annotate("", (x + dx, y + dy), (x - dx, y - dy), arrowprops=arrow)
    axes.text(x - 4.0 * text, y, "grain", ha="right", **font)
