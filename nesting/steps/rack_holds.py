"""Which pieces hold a rectangle or a drawn part, turned any way."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing.reader import read_drawing
from nesting.errors import DrawingError
from nesting.geometry.contour import Contour
from nesting.geometry.largest import holds_rectangle
from nesting.part import Part
from nesting.rack.piece import Listed
from nesting.rack.store import Rack
from nesting.steps.part_sizes import PartSizes
from nesting.steps.will_fit import Fit, Room, fit
from nesting.tolerances import PLACING_CHORD_MM
from nesting.units import DrawnUnit

_WORST: Final = {"no": 0, "perhaps": 1, "yes": 2}

Held = tuple[Listed, Fit]

MEASURED: Final = 100
"""So many pieces are measured on their outline for one question; each takes a tenth of a second."""


def holding_rectangle(
    rack: Rack,
    pieces: Sequence[Listed],
    width_mm: float,
    height_mm: float,
    *,
    margin_mm: float = 0.0,
    measure: int = MEASURED,
) -> list[Held]:
    """Return the pieces that hold a rectangle, in the order given, and why.

    Round it the margin and the uncertainty of the outline are kept.  Those that stored sizes do not settle are
    measured on their outline, the first `measure` of them: to 0.1 mm, but for a no that 0.9 % of the other side would
    turn into a yes.  The others stay perhaps.
    """
    part = Part(id="rectangle", name="the rectangle", outer=Contour.of_rectangle(width_mm, height_mm))
    held = [(piece, _alone([PartSizes(Demand(part=part))], piece, margin_mm)) for piece in pieces]
    doubtful = [piece.id for piece, found in held if found.verdict == "perhaps"][:measure]
    outlines = {p.id: p.plate.usable_polygon(PLACING_CHORD_MM) for p in rack.named(doubtful)}
    found = []
    for piece, guess in held:
        if piece.id in outlines:
            edge = 2 * (margin_mm + piece.uncertainty_mm)
            if not holds_rectangle(outlines[piece.id], width_mm + edge, height_mm + edge):
                continue
            guess = replace(guess, verdict="yes", reasons=("measured on its outline",))
        if guess.verdict != "no":
            found.append((piece, guess))
    return found


def holding_part(
    pieces: Sequence[Listed], drawing: Path, *, margin_mm: float = 0.0, units: DrawnUnit | None = None
) -> list[Held]:
    """Return the pieces that hold, or may hold, each part of a drawing by itself; raise `DrawingError` for faults."""
    read = read_drawing(drawing, units=units)
    faults = [f.message for f in read.findings if f.severity == "error"]
    if faults or not read.parts:
        raise DrawingError(f"{drawing.name}: {faults[0] if faults else 'holds no part'}")
    parts = [PartSizes(Demand(part=part)) for part in read.parts]
    held = [(piece, _alone(parts, piece, margin_mm)) for piece in pieces]
    return [(piece, found) for piece, found in held if found.verdict != "no"]


def _alone(parts: Sequence[PartSizes], piece: Listed, margin_mm: float) -> Fit:
    """Return the worst answer of all parts, each by itself on the whole piece."""
    room = Room(sizes=piece.summary, uncertainty_mm=piece.uncertainty_mm, grain_deg=piece.facts.grain_deg)
    clearances = Clearances(kerf_mm=0.0, gap_mm=0.0, margin_mm=margin_mm)
    return min((fit([part], room, clearances) for part in parts), key=lambda f: _WORST[f.verdict])
