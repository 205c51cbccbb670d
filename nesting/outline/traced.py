"""Points round an edge, in sections: the outline, holes, keep-outs; arcs by points on them or by bulge."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Point
from nesting.outline.arcs import arc_spread, bulge_over
from nesting.outline.bounds import bound
from nesting.outline.captured import Captured
from nesting.outline.fits import fit_circle, worst_circle_sigma
from nesting.outline.misplaced import Kind, Placed, warn_of_misplaced
from nesting.outline.pasted import Pasted, Row
from nesting.outline.rings import Vertex, ring
from nesting.plate import KeepOut
from nesting.tolerances import NESTING_CHORD_MM

_SECTION: Final = re.compile(r"(outline|edge|hole|keep-?\s?out|clamp|magnet)\b[\s,;:]*(.*)", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Spot:
    """One point: where, from which line; the bulge of the edge that leaves it; `on_arc` if it is no corner.

    `diameter_mm` makes it the centre of a whole circle.
    """

    line: int
    at: Point
    bulge: float = 0.0
    on_arc: bool = False
    diameter_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Section:
    """Points of one contour; `edges` tells at which of them a new edge begins, where points are touches on edges."""

    kind: Kind
    line: int
    reason: str = ""
    round: bool = False
    spots: list[Spot] = field(default_factory=list)
    edges: list[int] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A contour with the largest deviation of its edge, for points that scatter by 1 mm, and what else it is off by."""

    contour: Contour
    spread: float
    off_mm: float = 0.0


Place = Callable[[Row], Spot | None]


def sections(pasted: Pasted, place: Place) -> list[Section]:
    """Read the sections of a text; `place` reads one point, None where the line holds none (headings).

    A line `hole`, `keep-out rust`, `clamp` or `outline` begins a section, `hole circle` one of points on a circle;
    `edge` begins the touches of one straight edge.  Points before any such line are the outline's.
    """
    found: list[Section] = []
    for row in pasted.rows():
        head = _SECTION.fullmatch(row.text.rstrip(",;: "))
        if head and head[1].lower() == "edge":
            if not found:
                found.append(Section(kind="outline", line=row.line))
            found[-1].edges.append(len(found[-1].spots))
        elif head:
            found.append(_section(head, row))
        else:
            spot = place(row)
            if spot is None:
                continue
            if not found:
                found.append(Section(kind="outline", line=row.line))
            found[-1].spots.append(spot)
    outlines = [s for s in found if s.kind == "outline"]
    if len(outlines) != 1:
        what = "no outline" if not outlines else f"{len(outlines)} outlines"
        raise InputError(
            f"{pasted.name}: {what}; give the corners of one plate, and holes and keep-outs under lines that say so"
        )
    for section in found:
        if not section.spots:
            raise InputError(f"{pasted.name}, line {section.line}: nothing follows {section.kind}; give its points")
    return found


def _section(head: re.Match[str], row: Row) -> Section:
    word, rest = head[1].lower(), head[2].strip()
    kinds: dict[str, Kind] = {"outline": "outline", "hole": "hole", "clamp": "clamp", "magnet": "clamp"}
    is_round = rest.lower().startswith(("circle", "round"))
    reason = re.sub(r"^(circle|round)\b[\s,;:]*", "", rest, flags=re.IGNORECASE) if is_round else rest
    return Section(kind=kinds.get(word, "keep-out"), line=row.line, reason=reason, round=is_round)


def drawn(section: Section, source: str, *, grown_mm: float = 0.0) -> Drawn:
    """Return the contour of a section of corners; raise `InputError` with its line if it bounds no plain area.

    The radius of points on a circle is then grown by `grown_mm`.
    """
    where = f"{source}, line {section.line} ({section.kind})"
    first = section.spots[0]
    if first.diameter_mm is not None:
        if len(section.spots) > 1:
            raise InputError(f"{where}: a whole circle and more points; begin another section for them")
        return Drawn(contour=Contour(curves=(circle(first.at, first.diameter_mm / 2),)), spread=math.sqrt(1.25))
    if section.round:
        return _round(section, where, grown_mm)
    vertices, spread = _vertices(section.spots, where)
    return Drawn(contour=ring(vertices, where), spread=spread)


def _round(section: Section, where: str, grown_mm: float) -> Drawn:
    if len(section.spots) < 3:
        raise InputError(f"{where}: {len(section.spots)} points on a circle; take three or more, well round it")
    try:
        fit = fit_circle([s.at for s in section.spots])
    except ValueError as error:
        raise InputError(f"{where}: no circle: {error}; take points well round it") from None
    radius = fit.radius_mm + grown_mm
    if not radius > 0.0:
        raise InputError(
            f"{where}: nothing is left of a circle of radius {fit.radius_mm:.2f} mm; check the touch radius"
        )
    center = (float(fit.center[0]), float(fit.center[1]))
    return Drawn(
        contour=Contour(curves=(circle(center, radius),)),
        spread=worst_circle_sigma(fit),
        off_mm=float(abs(fit.off).max()) if len(section.spots) > 3 else 0.0,
    )


def _vertices(spots: Sequence[Spot], where: str) -> tuple[list[Vertex], float]:
    """Corners with bulges; runs of points on an arc become the bulge of the corner before them."""
    begin = next((k for k, s in enumerate(spots) if not s.on_arc), None)
    if begin is None:
        raise InputError(f"{where}: every point lies on an arc; say where arcs end, or 'circle' for a whole one")
    turned = [*spots[begin:], *spots[:begin]]
    corners = [k for k, s in enumerate(turned) if not s.on_arc]
    found: list[Vertex] = []
    spread = 1.0
    for k, at in enumerate(corners):
        upto = corners[k + 1] if k + 1 < len(corners) else len(turned)
        here, there = turned[at].at, turned[upto % len(turned)].at
        through = [s.at for s in turned[at + 1 : upto]]
        if through and turned[at].bulge:
            raise InputError(
                f"{where}: the edge from line {turned[at].line} has a bulge and points on it; give one of them"
            )
        if through:
            if here == there:
                raise InputError(
                    f"{where}: the arc from line {turned[at].line} ends where it begins; say 'circle' for a whole one"
                )
            spread = max(spread, arc_spread(here, through[len(through) // 2], there))
        found.append((*here, bulge_over(here, through, there) if through else turned[at].bulge))
    return found, spread


def captured(
    way: str,
    found: Sequence[tuple[Section, Drawn]],
    *,
    source: str,
    sigma_mm: float,
    more_mm: float = 0.0,
    notes: Sequence[str] = (),
    warnings: Sequence[str] = (),
    figures: dict[str, object] | None = None,
) -> Captured:
    """Put the sections together; the bound is that of the worst contour, and `more_mm` on top of it.

    Raise `InputError` with `source` and line for a hole that reaches beyond the outline by more than the bound.
    """
    count = sum(len(s.spots) for s, _ in found if s.kind in ("outline", "hole"))
    worst = max(bound(sigma_mm * d.spread, count) + d.off_mm for s, d in found if s.kind in ("outline", "hole"))
    (outer,) = (d.contour for s, d in found if s.kind == "outline")
    outline = next(s for s, _ in found if s.kind == "outline")
    misplaced = warn_of_misplaced([_placed(s, d, source) for s, d in found], worst + more_mm)
    return Captured(
        way=way,
        outer=outer,
        holes=tuple(d.contour for s, d in found if s.kind == "hole"),
        keep_outs=tuple(
            KeepOut(
                contour=d.contour,
                kind="no part" if s.kind == "keep-out" else "no part, lead or rapid",
                reason=s.reason or ("" if s.kind == "keep-out" else "clamp"),
            )
            for s, d in found
            if s.kind in ("keep-out", "clamp")
        ),
        uncertainty_mm=worst + more_mm,
        basis=f"{count} points of {sigma_mm:g} mm (1 sigma in x and y)"
        + (f", and {more_mm:.2f} mm" if more_mm else ""),
        notes=("edges are taken as straight where nothing else is said", *notes),
        warnings=(*warnings, *misplaced),
        figures={
            "corners": [{"line": s.line, "x_mm": round(s.at[0], 4), "y_mm": round(s.at[1], 4)} for s in outline.spots],
            **(figures or {}),
        },
    )


def _placed(section: Section, found: Drawn, source: str) -> Placed:
    where = f"{source}, line {section.line} ({section.kind})"
    return Placed(kind=section.kind, where=where, area=found.contour.polygon(NESTING_CHORD_MM, "midway"))
