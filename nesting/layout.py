"""A layout: which part lies where on which plate, and what did not find a place."""

from dataclasses import dataclass

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.geometry.pose import Pose
from nesting.part import Part
from nesting.plate import Plate


@dataclass(frozen=True, kw_only=True)
class Placement:
    """One piece of a part on the plate; `number` counts from 1 within the layout and is what is chalked on it."""

    number: int
    part_id: str
    pose: Pose


@dataclass(frozen=True, kw_only=True)
class LeftOver:
    """Pieces of a part that were wanted and not placed, and why."""

    part_id: str
    count: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeRest:
    """What is free for more parts: the plate less its holes and keep-outs, less the parts and the gap round them.

    The largest circle and rectangle (longer side first, at any turn) that lie in it, and its area.
    """

    area_mm2: float
    circle_diameter_mm: float
    rectangle_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulled:
    """The free rest when all parts had their place, and after they were pulled together to `to`."""

    to: str
    before: FreeRest
    after: FreeRest

    @property
    def moved(self) -> bool:
        """False where no place left a larger rest, and the parts stayed where they were."""
        return self.to != "nowhere"


@dataclass(frozen=True, kw_only=True)
class SearchFacts:
    """How the layout was found; with the same job, `seed` and `steps`, the same layout comes out.

    `bound_utilisation` is a share of the plate's area that no layout of these parts can exceed.
    """

    seed: int
    steps: int
    seconds: float
    poses_tried: int
    threads: int
    stopped: str = "finished"
    bound_utilisation: float | None = None
    pulled: Pulled | None = None


@dataclass(frozen=True, kw_only=True)
class Layout:
    """All that later steps need: drawing, check, report and rack are made from this alone."""

    plate: Plate
    clearances: Clearances
    demands: tuple[Demand, ...]
    placements: tuple[Placement, ...] = ()
    left_over: tuple[LeftOver, ...] = ()
    search: SearchFacts | None = None
    id: str = ""

    @property
    def parts(self) -> dict[str, Part]:
        """Parts by id."""
        return {d.part.id: d.part for d in self.demands}

    def placed(self, part_id: str) -> int:
        """How many pieces of a part have a place."""
        return sum(p.part_id == part_id for p in self.placements)
