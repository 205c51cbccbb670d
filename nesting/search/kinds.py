"""From demands to kinds: parts grown by half the gap, with their turns, ranks and worth."""

import math
from collections.abc import Sequence
from dataclasses import replace

import shapely

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.errors import JobError
from nesting.leads import with_lead_room
from nesting.plate import Plate
from nesting.search.grow import grown, without_small_holes
from nesting.search.problem import Kind
from nesting.search.symmetry import symmetry
from nesting.tolerances import CHECK_MM, PLACING_SLACK_MM

NEXT_TO_NOTHING = 1e-9
"""What a square millimetre of a part without value counts for, so that a layout with it is better than one without."""


def kinds_of(plate: Plate, demands: Sequence[Demand], clearances: Clearances) -> list[Kind]:
    """Return one kind for each demand; holes too narrow for any of them are filled.

    Raises `JobError` if a turn is tied to a grain that is not known.
    """
    kinds = [_kind(demand, plate, clearances) for demand in demands]
    narrowest = min(shapely.maximum_inscribed_circle(k.polygon).length for k in kinds)
    return [replace(k, polygon=without_small_holes(k.polygon, narrowest)) for k in kinds]


def _kind(demand: Demand, plate: Plate, clearances: Clearances) -> Kind:
    own = grown(demand.part.placing_polygon, clearances.gap_mm / 2 - PLACING_SLACK_MM)
    polygon = with_lead_room(own, demand.part, clearances, plate.uncertainty_mm)
    # The true part tells better than what chords and thinning made of it; room for lead-ins may lie to one side.
    alike = symmetry(demand.part.fine_polygon if polygon is own else polygon, tolerance=CHECK_MM)
    turns = _turns(demand, plate)
    return Kind(
        polygon=polygon,
        turns=turns,
        alike=alike,
        may_flip=demand.may_flip and alike.flip_adds(turns),
        most=demand.quantity,
        # All that has a quantity is required and outranks all that merely fills.
        rank=demand.priority + (0 if demand.quantity is not None else 1_000_000),
        # What is worth nothing is wanted all the same.
        worth=max(demand.worth, NEXT_TO_NOTHING * demand.part.area_mm2),
        net_area=demand.part.area_mm2,
    )


def _turns(demand: Demand, plate: Plate) -> tuple[float, ...] | None:
    if demand.turns.rule == "any":
        return None
    if demand.turns.rule == "listed":
        return tuple(math.radians(a) for a in demand.turns.angles_deg)
    if plate.grain_deg is None:
        raise JobError(
            f"{demand.part.name} is to lie along the grain, and the grain of plate {plate.name} is not known; give the "
            "plate's grain direction or free the part's turns"
        )
    return (math.radians(plate.grain_deg % 360.0), math.radians((plate.grain_deg + 180.0) % 360.0))
