"""Texts too small to be etched so that somebody can read them."""

from collections.abc import Iterator

from nesting.fit.finding import Cutting, FitFinding, at, mm
from nesting.part import Part
from nesting.tables.limits import fit_limit
from nesting.tolerances import FIT_MM


def text_findings(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    """Look at the height of all texts that ride along."""
    limit = fit_limit("text", cutting.process, thickness_mm=cutting.thickness_mm, kerf_mm=cutting.kerf_mm)
    if limit is None:
        return
    small = sorted((t for t in part.texts if t.height_mm < limit.value_mm - FIT_MM), key=lambda t: t.height_mm)
    if not small:
        return
    places, first = tuple(t.at for t in small), small[0]
    words = first.text if len(first.text) <= 24 else f"{first.text[:23]}…"
    yield FitFinding(
        part_id=part.id,
        kind="small text",
        severity="warning",
        message=f'text "{words}" is {mm(first.height_mm)} high{at(places)}: marked by {cutting.process} it is readable '
        f"from {mm(limit.value_mm)} on",
        places=places,
        value_mm=round(first.height_mm, 3),
        limit_mm=limit.value_mm,
        source=limit.source,
        question=f'The text "{words}" is {mm(first.height_mm)} high; marked by {cutting.process} it is readable from '
        f"about {mm(limit.value_mm)} on. May it be larger, shall we stamp or write it by hand, or is it only a note?",
    )
