"""Sheets of pictures of drawings: each part with its contours, holes and marks, and every trouble at its place.

Troubles differ by shape as well as by colour, so that a sheet printed without colour tells them apart; the colours are
those of Okabe and Ito, which colour-blind readers can tell apart.
"""

import io
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from nesting.drawing.findings import Finding
from nesting.geometry.curves import Curve
from nesting.part import Part

FORMATS: Final = (".png", ".pdf", ".svg")
MOST_ON_ONE_PICTURE: Final = 240
_COLUMNS, _ROWS_OF_A_PAGE = 4, 5
_CARD_IN: Final = (2.9, 2.3)
_TEXT_IN: Final = 1.0
_LINES: Final = 6
_WIDTH: Final = 66
_SHAPES: Final[dict[str, tuple[str, str]]] = {
    "error": ("X", "#d55e00"),
    "warning": ("^", "#0072b2"),
    "note": ("o", "#555555"),
}
# Texts come from drawings: `$INSUNITS 0; $MEASUREMENT 1` is no formula.
_STYLE: Final[dict[Any, Any]] = {"svg.fonttype": "path", "svg.hashsalt": "oddplate", "text.parse_math": False}


@dataclass(frozen=True, kw_only=True)
class Card:
    """One picture: a part, or all curves of a drawing that made none, with what was found there.

    Beside a part `curves` show thinly what was drawn and did not become part of it.  `refused` says why its drawing
    is not cut as it is, of each part of it.
    """

    title: str
    subtitle: str = ""
    part: Part | None = None
    curves: tuple[Curve, ...] = ()
    findings: tuple[Finding, ...] = ()
    refused: str = ""


def cards_of(
    name: str,
    parts: Sequence[Part],
    subtitles: Sequence[str],
    curves: Sequence[Curve],
    findings: Sequence[Finding],
    refused: str = "",
) -> list[Card]:
    """Return a card for each part with the findings in or near it, and one of the whole drawing for the rest.

    A drawing without parts gets the one card, with the reason why it was refused.
    """
    homes = [_home(parts, finding) for finding in findings]
    # One error refuses the drawing, and with it the parts that are drawn well.
    why = refused or ", ".join(dict.fromkeys(f.kind for f in findings if f.severity == "error"))
    cards = [
        Card(
            title=f"{number}  {part.name}" if len(parts) > 1 else name,
            subtitle=subtitle,
            part=part,
            curves=tuple(curves) if any(f.severity == "error" for f in findings) else (),
            findings=tuple(f for f, home in zip(findings, homes, strict=True) if home == number - 1),
            refused=why,
        )
        for number, (part, subtitle) in enumerate(zip(parts, subtitles, strict=True), start=1)
    ]
    rest = [f for f, home in zip(findings, homes, strict=True) if home is None and (f.severity != "note" or f.place)]
    if rest or not parts:
        subtitle = "" if refused else "the whole drawing"
        cards.append(Card(title=name, subtitle=subtitle, curves=tuple(curves), findings=tuple(rest), refused=why))
    return cards


def draw_cards(cards: Sequence[Card], path: Path, *, dpi: int = 110) -> int:
    """Write the sheet; the ending of `path` (.png, .pdf, .svg) says the format.  Return the number of pictures drawn.

    A PDF has as many pages as it takes; the others hold `MOST_ON_ONE_PICTURE` at most.  Raises ValueError for another
    ending.
    """
    ending = path.suffix.lower()
    if ending not in FORMATS:
        raise ValueError(f"{path.name}: a sheet of pictures ends in one of {', '.join(FORMATS)}")
    buffer = io.BytesIO()
    with mpl.rc_context(_STYLE):
        if ending == ".pdf":
            drawn = len(cards)
            _pages(cards, buffer)
        else:
            drawn = min(len(cards), MOST_ON_ONE_PICTURE)
            metadata: dict[str, Any] = {"Date": None} if ending == ".svg" else {"Software": None}
            _figure(cards[:drawn]).savefig(buffer, format=ending[1:], dpi=dpi, metadata=metadata)
    path.write_bytes(buffer.getvalue())
    return drawn


def _pages(cards: Sequence[Card], buffer: io.BytesIO) -> None:
    size = _COLUMNS * _ROWS_OF_A_PAGE
    with PdfPages(buffer, metadata={"CreationDate": None}) as pages:
        for start in range(0, max(len(cards), 1), size):
            pages.savefig(_figure(cards[start : start + size]))


def _figure(cards: Sequence[Card]) -> Figure:
    columns = min(_COLUMNS, max(len(cards), 1))
    rows = max(1, -(-len(cards) // columns))
    width, height = _CARD_IN[0] * columns, (_CARD_IN[1] + _TEXT_IN) * rows
    figure = Figure(figsize=(width, height))
    FigureCanvasAgg(figure)
    for k, card in enumerate(cards):
        row, column = divmod(k, columns)
        left, top = column / columns, 1.0 - row / rows
        pad, room = 0.06 / columns, _CARD_IN[1] * 0.80 / height
        head = _CARD_IN[1] * 0.18 / height
        axes = figure.add_axes((left + pad, top - head - room, 1.0 / columns - 2 * pad, room))
        _draw(axes, card)
        figure.text(left + pad, top - 0.12 / height, _short(card.title, 46), fontsize=7.5, weight="bold", va="top")
        figure.text(left + pad, top - 0.26 / height, "\n".join(_head(card)), fontsize=5.6, va="top")
        figure.text(left + pad, top - head - room - 0.05 / height, "\n".join(_listed(card)), fontsize=5.0, va="top")
    return figure


def _head(card: Card) -> list[str]:
    """Return the two lines below the title; a reason that is too long for them stands below the picture."""
    told = textwrap.wrap(card.subtitle, _WIDTH - 10, max_lines=1, placeholder=" ...")
    if not card.refused:
        return textwrap.wrap(card.subtitle, _WIDTH - 10, max_lines=2, placeholder=" ...")
    why = textwrap.wrap(f"refused: {card.refused}", _WIDTH - 10)
    return [*told, *(why if len(told) + len(why) <= 2 else ["refused: see below"])]


def _draw(axes: Axes, card: Card) -> None:
    axes.set_aspect("equal")
    axes.axis("off")
    if card.refused:
        at: dict[str, Any] = {"transform": axes.transAxes, "ha": "right", "va": "top", "zorder": 5}
        frame = {"facecolor": "white", "edgecolor": _SHAPES["error"][1], "linewidth": 0.8, "pad": 2}
        axes.text(1.0, 1.0, "REFUSED", fontsize=8, weight="bold", color=_SHAPES["error"][1], bbox=frame, **at)
    if card.part is not None:
        _draw_part(axes, card.part, "white" if card.refused else "#e4e4e4")
        for curve in card.curves:
            points = curve.points(_thin(card.part))
            axes.plot(points[:, 0], points[:, 1], color="#999999", linewidth=0.4, linestyle=":")
        x0, y0, x1, y1 = card.part.fine_polygon.bounds
    else:
        lines = [curve.points(_chord(card.curves)) for curve in card.curves]
        for points in lines:
            axes.plot(points[:, 0], points[:, 1], color="black", linewidth=0.5)
        places = [np.array([f.place]) for f in card.findings if f.place]
        every = np.vstack([*lines, *places]) if lines or places else np.array([[0.0, 0.0], [1.0, 1.0]])
        (x0, y0), (x1, y1) = every.min(axis=0), every.max(axis=0)
    pad = 0.06 * max(x1 - x0, y1 - y0, 1e-3)
    axes.set(xlim=(x0 - pad, x1 + pad), ylim=(y0 - pad, y1 + pad))
    for number, finding in enumerate(_shown(card.findings), start=1):
        if finding.place is not None:
            _mark(axes, finding, number)


def _draw_part(axes: Axes, part: Part, fill: str) -> None:
    outlines = []
    for polygon in shapely.get_parts(part.fine_polygon):
        turned = shapely.orient_polygons(polygon)
        for ring in (turned.exterior, *turned.interiors):
            outlines.append(Outline(shapely.get_coordinates(shapely.simplify(ring, _thin(part))), closed=True))
    whole = Outline.make_compound_path(*outlines)
    axes.add_patch(PathPatch(whole, facecolor=fill, edgecolor="black", linewidth=0.7))
    for mark in part.marks:
        points = mark.curve.points(_thin(part))
        axes.plot(points[:, 0], points[:, 1], color="#009e73", linewidth=0.6, dashes=(4, 2))
    for text in part.texts:
        axes.text(*text.at, text.text, fontsize=4, color="#009e73", rotation=text.turn_deg, clip_on=True)


def _mark(axes: Axes, finding: Finding, number: int) -> None:
    assert finding.place is not None
    shape, colour = _SHAPES[finding.severity]
    axes.plot(*finding.place, marker="o", markersize=9, markerfacecolor="none", markeredgecolor=colour, clip_on=False)
    axes.plot(*finding.place, marker=shape, markersize=4, color=colour, clip_on=False)
    offset: dict[str, Any] = {
        "xytext": (5, 4),
        "textcoords": "offset points",
        "fontsize": 5.5,
        "color": colour,
        "weight": "bold",
    }
    axes.annotate(str(number), finding.place, annotation_clip=False, **offset)


def _shown(findings: Sequence[Finding]) -> list[Finding]:
    """The worst first; what has no room below the picture is not numbered in it either."""
    order = {"error": 0, "warning": 1, "note": 2}
    return sorted(findings, key=lambda f: order[f.severity])[: _LINES - 1 if len(findings) > _LINES else _LINES]


def _listed(card: Card) -> list[str]:
    """Return the lines below the picture, wrapped into what room there is: the fewer findings, the more of each."""
    shown = _shown(card.findings)
    texts = [f"{n} {f.severity}: {f.message}" for n, f in enumerate(shown, start=1)]
    if _head(card)[-1:] == ["refused: see below"] and not any(f.severity == "error" for f in shown):
        texts.insert(0, f"refused: {card.refused}")
    if len(card.findings) > len(shown):
        texts.append(f"and {len(card.findings) - len(shown)} more")
    left, lines = 2 * _LINES, list[str]()
    for k, text in enumerate(texts):
        most = max(1, left // (len(texts) - k))
        lines += textwrap.wrap(text, _WIDTH + 2, subsequent_indent="   ", max_lines=most, placeholder=" ...")
        left = 2 * _LINES - len(lines)
    return lines


def _home(parts: Sequence[Part], finding: Finding) -> int | None:
    """The smallest part in or near whose box a finding lies; a finding without a place belongs to the only part."""
    if finding.place is None:
        return 0 if len(parts) == 1 else None
    x, y = finding.place
    best: tuple[float, int] | None = None
    for index, part in enumerate(parts):
        x0, y0, x1, y1 = part.placing_polygon.bounds
        near = 0.02 * max(x1 - x0, y1 - y0)
        if x0 - near <= x <= x1 + near and y0 - near <= y <= y1 + near:
            best = min(best or (float("inf"), -1), ((x1 - x0) * (y1 - y0), index))
    return best[1] if best else None


def _thin(part: Part) -> float:
    return max(part.size_mm) / 2000.0 + 1e-9


def _chord(curves: Sequence[Curve]) -> float:
    """A thousandth of the drawing's size, told from the ends of its curves."""
    if not curves:
        return 1.0
    ends = np.array([p for curve in curves for p in (curve.start, curve.end)])
    size = float((ends.max(axis=0) - ends.min(axis=0)).max())
    return max(size, max(curve.length_mm for curve in curves[:50]) / 4.0) / 1000.0 + 1e-6


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 3]}..."
