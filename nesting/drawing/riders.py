"""Marks and texts that ride along with the part they lie in, and those that lie in none."""

from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from nesting.drawing.chain import Chain
from nesting.drawing.entities import Drawn, Written
from nesting.drawing.findings import Finding, at
from nesting.drawing.marks import LayerRule, mark_kind, role_of
from nesting.drawing.nest import Outline, nearly_closes
from nesting.part import Mark, TextMark
from nesting.tolerances import JOIN_SILENT_MM, NESTING_CHORD_MM


@dataclass(frozen=True, kw_only=True)
class Riders:
    """Marks and texts for each outline, in the same order, and findings on the rest."""

    marks: tuple[tuple[Mark, ...], ...]
    texts: tuple[tuple[TextMark, ...], ...]
    findings: tuple[Finding, ...]


def riders_of(
    outlines: Sequence[Outline],
    chains: Sequence[Chain],
    marked: Sequence[Drawn],
    written: Sequence[Written],
    rules: Sequence[LayerRule],
) -> Riders:
    """Give each mark, open chain and text to the part it lies in; it must not reach out of it."""
    marks: list[list[Mark]] = [[] for _ in outlines]
    findings: list[Finding] = []
    homes = _Homes(outlines)
    for chain in chains:
        home = homes.of(chain.drawn)
        findings.append(_chain_finding(chain, home is not None))
        if home is not None:
            marks[home] += [Mark(kind="other", curve=d.curve) for d in chain.drawn]
    outside = []
    for d in marked:
        kind = mark_kind(role_of(d.layer, d.linetype, d.colour, (), rules))
        home = homes.of((d,))
        if home is None:
            outside.append(d)
        else:
            marks[home].append(Mark(kind=kind or "other", curve=d.curve))
    if outside:
        place = outside[0].curve.start
        text = f"{len(outside)} marks outside all parts or across their edges left out, the first at {at(place)}"
        findings.append(
            Finding(kind="mark outside", severity="note", message=text, place=place, entity=outside[0].entity)
        )
    # A text is never cut, whatever its layer is for; it is left out where a rule or the layer's name says so.
    kept = [w for w in written if role_of(w.layer, "", "", (), rules) != "ignore"]
    if len(kept) < len(written):
        layers = ", ".join(sorted({w.layer for w in written if w not in kept}))
        text = f"{len(written) - len(kept)} texts left out by layer: {layers}"
        findings.append(Finding(kind="text left out", severity="note", message=text))
    texts, lost = _texts(outlines, kept)
    if lost:
        findings.append(
            Finding(kind="text outside", severity="note", message=f"{lost} texts outside all parts left out")
        )
    return Riders(marks=tuple(map(tuple, marks)), texts=texts, findings=tuple(findings))


class _Homes:
    """Finds the outline that wholly holds some curves; shapes are grown by the silent tolerance."""

    def __init__(self, outlines: Sequence[Outline]) -> None:
        self._grown = [o.polygon.buffer(JOIN_SILENT_MM) for o in outlines]
        self._tree = shapely.STRtree(self._grown)

    def of(self, drawn: Sequence[Drawn]) -> int | None:
        """Return the index of the outline, or None."""
        lines = [shapely.LineString(d.curve.points(NESTING_CHORD_MM)) for d in drawn]
        found = self._tree.query(shapely.union_all(lines), predicate="covered_by").tolist()
        return min(found) if found else None


def _chain_finding(chain: Chain, inside: bool) -> Finding:
    first, place, entity = chain.drawn[0], chain.end, chain.drawn[-1].entity
    if nearly_closes(chain):
        text = f"{entity}: contour is open by {chain.gap_mm:.3g} mm at {at(place)}; close it in the drawing"
        return Finding(
            kind="open contour", severity="error", message=text, place=place, entity=entity, size_mm=chain.gap_mm
        )
    what = "kept as a mark, not cut" if inside else "left out"
    text = f"{first.entity}: open line of {chain.length_mm:.2f} mm from {at(chain.start)} to {at(place)}: {what}"
    kind = "open line inside" if inside else "open line"
    return Finding(kind=kind, severity="warning", message=text, place=place, entity=first.entity)


def _texts(outlines: Sequence[Outline], written: Sequence[Written]) -> tuple[tuple[tuple[TextMark, ...], ...], int]:
    texts: list[list[TextMark]] = [[] for _ in outlines]
    lost = 0
    if outlines and written:
        places = shapely.points([w.text.at for w in written])
        tree = shapely.STRtree([o.polygon for o in outlines])
        homes = dict(tree.query(places, predicate="within").T.tolist())
        for index, w in enumerate(written):
            if index in homes:
                texts[homes[index]].append(w.text)
            else:
                lost += 1
    return tuple(map(tuple, texts)), lost if outlines else len(written)
