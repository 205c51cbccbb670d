"""Marked lead-ins of a drawing: clear of every finished edge but the one they meet, and on the plate."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely

from nesting.checking.distances import Body
from nesting.checking.findings import CheckFinding, Piece
from nesting.clearances import Clearances
from nesting.drawing.entities import Drawn
from nesting.geometry.curves import Line
from nesting.plate import Plate
from nesting.tolerances import CHECK_MM, FINE_CHORD_MM

_TOUCH_MM: Final = 0.01
"""A lead-in meets an edge if it ends this near to it."""


def check_leads(
    leads: Sequence[Line], bodies: Sequence[Body], plate: Plate, clearances: Clearances
) -> list[CheckFinding]:
    """Return what is wrong with lead-ins, each a line from the pierce to the contour it leads to.

    The pierce must be as far from every finished edge as the lead-in is long; the whole line at least a kerf from
    every part but the one it leads to; all of it on the plate, outside keep-outs.  That the line leaves its own
    part's edge follows: what is `s` nearer to the contact than the pierce is at most `s` nearer to any edge.
    """
    if not leads or not bodies:
        return []
    solids = np.array([body.fine for body in bodies], dtype=object)
    tree = shapely.STRtree(solids)
    # Chords of the usable polygon give away up to their error, which a part that keeps its margin exactly needs back.
    ground = plate.usable_polygon(FINE_CHORD_MM).buffer(CHECK_MM)
    return [finding for lead in leads for finding in _faults(lead, bodies, solids, tree, ground, clearances)]


def _faults(
    lead: Line,
    bodies: Sequence[Body],
    solids: np.ndarray,
    tree: shapely.STRtree,
    ground: shapely.Geometry,
    clearances: Clearances,
) -> list[CheckFinding]:
    line, pierce = shapely.LineString([lead.start, lead.end]), shapely.Point(lead.start)
    length = lead.length_mm
    near = [int(k) for k in tree.query(line, predicate="dwithin", distance=max(length, clearances.kerf_mm))]
    own = [k for k in near if solids[k].boundary.distance(shapely.Point(lead.end)) <= _TOUCH_MM]
    found: list[CheckFinding] = []
    if not own:
        found.append(_told(lead, (), "leads to no contour", math.nan, 0.0))
    for k in near:
        away = float(pierce.distance(solids[k]))
        if away < length - CHECK_MM:
            tale = f"is pierced {away:.4f} mm from {bodies[k].piece}; needed {length:.4g} mm, its length"
            found.append(_told(lead, (bodies[k].piece,), tale, away, length))
        away = float(line.distance(solids[k]))
        if k not in own and away < clearances.kerf_mm - CHECK_MM:
            tale = f"passes {bodies[k].piece} {away:.4f} mm away; needed {clearances.kerf_mm:g} mm, the kerf"
            found.append(_told(lead, (bodies[k].piece,), tale, away, clearances.kerf_mm))
    if not ground.covers(line):
        found.append(_told(lead, (), "does not lie wholly on the plate, outside its keep-outs", math.nan, 0.0))
    return found


def odd_leads(drawn: Sequence[Drawn]) -> list[CheckFinding]:
    """Return what is marked as a lead-in and cannot be measured as one."""
    found = []
    for d in drawn:
        x, y = d.curve.start
        tale = f"{d.entity} at ({x:.2f}, {y:.2f}) mm on layer {d.layer} is no straight line from a pierce to a contour"
        found.append(CheckFinding(kind="lead", message=f"{tale}; draw it as one, or delete it", place=(x, y)))
    return found


def _told(lead: Line, pieces: tuple[Piece, ...], tale: str, found_mm: float, needed_mm: float) -> CheckFinding:
    (x, y), measured = lead.start, not math.isnan(found_mm)
    return CheckFinding(
        kind="lead",
        message=f"the lead-in at ({x:.2f}, {y:.2f}) mm {tale}",
        pieces=pieces,
        place=lead.start,
        found_mm=found_mm if measured else None,
        needed_mm=needed_mm if measured else None,
    )
