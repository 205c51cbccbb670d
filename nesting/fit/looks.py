"""All looks at a part before it is cut, in the order in which a shop would ask."""

from collections.abc import Callable, Iterable, Iterator
from typing import Final

from nesting.fit.bends import bend_findings
from nesting.fit.corners import corner_findings
from nesting.fit.finding import Cutting, FitFinding
from nesting.fit.holes import hole_findings
from nesting.fit.slots import slot_findings
from nesting.fit.texts import text_findings
from nesting.fit.tipping import tipping_findings
from nesting.fit.webs import web_findings
from nesting.part import Part

LOOKS: Final[tuple[Callable[[Part, Cutting], Iterator[FitFinding]], ...]] = (
    slot_findings,
    hole_findings,
    web_findings,
    corner_findings,
    bend_findings,
    text_findings,
    tipping_findings,
)


def fit_findings(part: Part, cutting: Cutting) -> tuple[FitFinding, ...]:
    """Return all that may not come out as drawn, warnings first; what is not known is not looked at."""
    found = [finding for look in LOOKS for finding in look(part, cutting)]
    return tuple(sorted(found, key=lambda f: f.severity == "note"))


def not_looked_at(cutting: Cutting, parts: Iterable[Part]) -> tuple[str, ...]:
    """Say what could not be looked at because something is not known."""
    said = []
    if cutting.thickness_mm is None:
        said.append("the thickness is not known: holes, slots, bends and the pierce limit were not looked at")
    if cutting.kerf_mm is None:
        said.append("the kerf is not known: whether every opening is as wide as the cut was not looked at")
    if cutting.slat_pitch_mm is None:
        said.append("the slat pitch is not known: tipping was not looked at; the shop file can say it")
    if cutting.material is None and any(p.bend_radius_mm is not None for p in parts):
        said.append("no bend radii are known for the material: bend radii were not looked at")
    return tuple(said)
