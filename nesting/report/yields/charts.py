"""Pictures over several cuts: where the plate went, and use over time; told apart by hatches as well as by colours."""

import io
from collections.abc import Sequence
from typing import Any, Final, Literal

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from nesting.report.colours import PALETTE
from nesting.report.wording import measures
from nesting.report.yields.facts import SumRow, YieldsReport
from nesting.report.yields.gathered import NO_DATE
from nesting.units import Unit

Form = Literal["svg", "png"]

_BLUE, _ORANGE, _GREEN, _YELLOW, _DARK, _RED, _PINK = PALETTE
_SHARES: Final = (
    ("parts_mm2", "parts", _BLUE, ""),
    ("failed_mm2", "failed parts", _PINK, "xxx"),
    ("kerf_mm2", "kerf", _YELLOW, "..."),
    ("kept_mm2", "kept remnants", _GREEN, "//"),
    ("scrap_mm2", "scrap", _RED, "\\\\\\"),
)
_STYLE: Final[dict[Any, Any]] = {"svg.fonttype": "path", "svg.hashsalt": "oddplate", "hatch.linewidth": 0.5}
_MOST_BARS: Final = 40
_LEAST_SHARE: Final = 4.0
"""Per cent; narrower shares have no room for their number."""


def material_chart(report: YieldsReport, form: Form, unit: Unit) -> bytes | None:
    """Return where the plate went, a bar for each grade and thickness; None where nothing was cut."""
    if not report.cuts:
        return None
    length = measures(unit)["length"]
    height = 1.3 + 0.42 * len(report.by_material)
    figure, axes = _new(9.5, height)
    labels = [f"{r.grade or 'grade unknown'}\n{length.full(r.thickness_mm)} thick" for r in report.by_material]
    _bars(axes, report.by_material, labels)
    axes.set_xlabel("% of the plates' area")
    return _written(figure, form, "where the plate went, by grade and thickness")


def time_chart(report: YieldsReport, form: Form) -> bytes | None:
    """Return use over time and where the plate went, or None where there is no more than one time to show.

    The last `_MOST_BARS` times are shown; the table has all.
    """
    rows = [r for r in report.by_time if r.label != NO_DATE][-_MOST_BARS:]
    if len(rows) < 2:
        return None
    figure = Figure(figsize=(9.5, 4.6), layout="constrained")
    FigureCanvasAgg(figure)
    use, where = figure.subplots(2, 1, sharex=True, height_ratios=(1.0, 1.2))
    places = range(len(rows))
    for values, label, marker, dash in (
        ([r.utilisation_percent for r in rows], "utilisation", "o", "-"),
        ([r.utilisation_with_leftover_credit_percent for r in rows], "with leftover credit", "s", "--"),
    ):
        shown = [float("nan") if v is None else v for v in values]
        use.plot(places, shown, color="black", marker=marker, linestyle=dash, markerfacecolor="white", label=label)
    use.set(ylim=(0, 105), ylabel="%")
    use.grid(axis="y", color="#dddddd", linewidth=0.6)
    use.legend(loc="lower right", ncols=2, frameon=True, fontsize=8)
    _columns(where, rows)
    where.set_xticks(places, [r.label for r in rows], rotation=0 if len(rows) <= 8 else 60, fontsize=8)
    where.set_ylabel("m²")
    return _written(figure, form, f"use and where the plate went, by {report.by}")


def _new(width: float, height: float) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure, figure.subplots()


def _bars(axes: Axes, rows: Sequence[SumRow], labels: Sequence[str]) -> None:
    """Lying bars of shares, the first row on top."""
    places = [len(rows) - 1 - i for i in range(len(rows))]
    wholes = [r.amounts.plate_mm2 or 1.0 for r in rows]
    left = [0.0] * len(rows)
    for name, label, colour, hatch in _present(rows):
        shares = [100.0 * (r.amounts.each[name] or 0.0) / whole for r, whole in zip(rows, wholes, strict=True)]
        axes.barh(places, shares, left=left, color=colour, hatch=hatch, edgecolor="black", linewidth=0.7, label=label)
        for place, share, start in zip(places, shares, left, strict=True):
            if share >= _LEAST_SHARE:
                box = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
                axes.text(start + share / 2, place, f"{share:.1f}", ha="center", va="center", fontsize=8, bbox=box)
        left = [a + b for a, b in zip(left, shares, strict=True)]
    axes.set_yticks(places, labels, fontsize=8)
    axes.set_xlim(0, 100)
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=len(_SHARES), frameon=False, fontsize=8)


def _columns(axes: Axes, rows: Sequence[SumRow]) -> None:
    """Standing bars of square metres."""
    low = [0.0] * len(rows)
    for name, label, colour, hatch in _present(rows):
        areas = [(r.amounts.each[name] or 0.0) * 1e-6 for r in rows]
        axes.bar(
            range(len(rows)),
            areas,
            bottom=low,
            color=colour,
            hatch=hatch,
            edgecolor="black",
            linewidth=0.7,
            label=label,
        )
        low = [a + b for a, b in zip(low, areas, strict=True)]
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=len(_SHARES), frameon=False, fontsize=8)


def _present(rows: Sequence[SumRow]) -> list[tuple[str, str, str, str]]:
    return [share for share in _SHARES if any(r.amounts.each[share[0]] for r in rows)]


def _written(figure: Figure, form: Form, title: str) -> bytes:
    buffer = io.BytesIO()
    metadata = {"Title": title, "Date": None} if form == "svg" else {"Title": title, "Software": None}
    with mpl.rc_context(_STYLE):
        figure.savefig(buffer, format=form, dpi=160, metadata=metadata)
    return buffer.getvalue()
