"""A layout as it lies on the table: plate, parts and turn rules posed together, so that all that follows stays true."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from nesting.corner_names import named_corners
from nesting.demand import Demand, Turns
from nesting.geometry.pose import Pose
from nesting.layout import Layout
from nesting.plate import Plate
from nesting.settle.rigid import followed_by

_LAID_BY: Final = ", to be laid on the table by its corners at "
"""Begins what a plate file adds to how a plate was captured; once it lies there it is no longer to be laid."""

_SAME_MM: Final = 0.01


def turned(layout: Layout, pose: Pose, note: str = "") -> Layout:
    """Return the layout with everything in table coordinates, under an id of its own to come.

    `pose` takes the plate's drawing to the table and does not flip.  Turns that a part may take were said as the
    plate lay in its drawing, and turn with it.  `note` is added to how the plate was captured.
    """
    return replace(
        layout,
        plate=turned_plate(layout.plate, pose, note),
        demands=turned_demands(layout.demands, pose),
        placements=tuple(replace(p, pose=followed_by(p.pose, pose)) for p in layout.placements),
        id="",
    )


def turned_plate(plate: Plate, pose: Pose, note: str = "") -> Plate:
    """Return the plate in table coordinates, its corners called as they are on the steel."""
    captured = plate.captured.partition(_LAID_BY)[0]
    return replace(
        plate,
        outer=plate.outer.posed(pose),
        holes=tuple(hole.posed(pose) for hole in plate.holes),
        keep_outs=tuple(replace(k, contour=k.contour.posed(pose)) for k in plate.keep_outs),
        grain_deg=None if plate.grain_deg is None else pose.direction_deg(plate.grain_deg) % 360.0,
        captured=f"{captured}; {note}" if note else captured,
        capture=None if plate.capture is None else replace(plate.capture, set_up_by=()),
        lettered=tuple((c.name, pose.point(c.point)) for c in named_corners(plate)),
    )


def turned_demands(demands: Sequence[Demand], pose: Pose) -> tuple[Demand, ...]:
    """Return the demands with the turns they list as they are on the table; others stay as they are."""
    return tuple(
        replace(d, turns=Turns(rule="listed", angles_deg=tuple(a + pose.turn_deg for a in d.turns.angles_deg)))
        if d.turns.rule == "listed"
        else d
        for d in demands
    )


def laid_by(plate: Plate) -> tuple[str, ...]:
    """Return the names of the corners by which the plate is to be laid on the table, none where nothing says so."""
    places = () if plate.capture is None else plate.capture.set_up_by
    corners = named_corners(plate)
    return tuple(c.name for place in places for c in corners if math.dist(c.point, place) <= _SAME_MM)
