"""The search, from nouns to nouns: parts, plate and clearances in, a layout out."""

import math
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.errors import InfeasibleError, JobError
from nesting.geometry.largest import largest_circle, largest_rectangle
from nesting.layout import Layout, LeftOver, Placement, SearchFacts
from nesting.leads import with_lead_room
from nesting.part import Part
from nesting.plate import Plate
from nesting.search.crew import Crew, State
from nesting.search.fill import MOST_ITEMS, PULLS, Fill
from nesting.search.grow import grown, shrunk, without_small_holes
from nesting.search.problem import Kind, Poses, Problem
from nesting.search.shorten import Shorten, ways_to_shorten
from nesting.tolerances import PLACING_CHORD_MM, PLACING_SLACK_MM

_REPORT_EVERY_S = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a running search is.  `wanted` None: as many as fit."""

    seconds: float
    time_limit_s: float
    placed: int
    wanted: int | None
    utilisation: float
    phase: str


def search(
    plate: Plate,
    demands: Sequence[Demand],
    clearances: Clearances,
    *,
    seed: int = 0,
    time_limit_s: float = 30.0,
    steps: int | None = None,
    threads: int = 2,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Layout:
    """Lay the demands out on the plate.

    Parts with a quantity come first, by priority, then those of which as many as fit are wanted.  Once all are placed
    the time left goes into pulling them together, so that the rest of the plate stays in one piece.

    With `steps` the search takes that many steps on one thread whatever the time: the same call then gives the same
    layout on the same machine.  Raises `InfeasibleError` if the plate has no room inside its margins, `JobError` if
    there is nothing to place or a turn is tied to a grain that is not known.
    """
    if not demands:
        raise JobError("there is nothing to place; give at least one part")
    edge = clearances.edge_mm(plate.uncertainty_mm)
    half_gap = clearances.gap_mm / 2
    region = shrunk(plate.usable_polygon(PLACING_CHORD_MM), edge - half_gap)
    if region.is_empty:
        raise InfeasibleError(
            f"{plate.name}: nothing is left of the plate inside a margin of {edge:g} mm; use a smaller margin or "
            "another plate"
        )
    kinds = [_kind(demand, plate, clearances) for demand in demands]
    narrowest = min(shapely.maximum_inscribed_circle(k.polygon).length for k in kinds)
    kinds = [replace(k, polygon=without_small_holes(k.polygon, narrowest)) for k in kinds]
    fitting = [i for i, kind in enumerate(kinds) if _fits_alone(kind, region, seed)]
    best: State | None = None
    load_kernels()
    begun = time.monotonic()
    crew = Crew(seed=seed, seconds=time_limit_s, steps=steps, threads=threads)
    problem = Problem([kinds[i] for i in fitting], region) if fitting else None
    if problem is not None:
        crew.watch = _Watch(problem, plate, demands, on_progress, should_stop)
        best = _run(problem, crew, time_limit_s)
    placements = _placements(problem, best, [demands[i].part for i in fitting])
    facts = SearchFacts(
        seed=seed,
        steps=crew.steps_taken,
        seconds=round(time.monotonic() - begun, 3),
        poses_tried=crew.poses_tried,
        threads=crew.threads,
        stopped="asked to stop" if crew.called_off else "finished",
    )
    return Layout(
        plate=plate,
        clearances=clearances,
        demands=tuple(demands),
        placements=placements,
        left_over=_left_over(demands, placements, set(fitting), plate, max(edge, half_gap), facts),
        search=facts,
    )


def load_kernels() -> None:
    """Compile the kernels, or load them from where an earlier run left them, before any clock starts."""
    problem = Problem([Kind(polygon=shapely.box(0, 0, 1, 1), turns=None)], shapely.box(0, 0, 4, 4))
    fill = Fill(problem, Crew(seed=0, seconds=0.0, steps=1, threads=1))
    fill.separate_once(fill.greedy_once(PULLS[0], np.random.default_rng(0)).poses)


def _run(problem: Problem, crew: Crew, time_limit_s: float) -> State | None:
    fill = Fill(problem, crew)
    crew.phase = "placing"
    crew.run(fill.greedy, time_limit_s)
    if crew.best is None:
        crew.offer(State(poses=np.empty((0, 4)), score=fill.score(np.empty(0, dtype=np.int64))))
    if not fill.complete() and not crew.called_off:
        crew.phase = "filling"
        crew.run(fill.improve, time_limit_s)
    best = _legal(problem, crew)
    if not len(best.poses) or crew.called_off or not fill.complete():
        return best
    crew.phase = "pulling together"
    way = ways_to_shorten(problem, [best, *fill.complete_states])[0]
    shorten = Shorten(problem, crew, way.direction)
    crew.restart(shorten.state(way.state.poses))
    crew.run(shorten.work, time_limit_s)
    shortened = _legal(problem, crew)
    return shortened if len(shortened.poses) else best


def _kind(demand: Demand, plate: Plate, clearances: Clearances) -> Kind:
    polygon = grown(demand.part.placing_polygon, clearances.gap_mm / 2 - PLACING_SLACK_MM)
    return Kind(
        polygon=with_lead_room(polygon, demand.part, clearances, plate.uncertainty_mm),
        turns=_turns(demand, plate),
        may_flip=demand.may_flip,
        most=demand.quantity,
        # All that has a quantity is required and outranks all that merely fills.
        rank=demand.priority + (0 if demand.quantity is not None else 1_000_000),
        worth=demand.worth,
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


def _fits_alone(kind: Kind, region: Polygon | MultiPolygon, seed: int) -> bool:
    """Try to place one item on the empty region; a failure after many tries counts as not fitting."""
    if kind.polygon.area > region.area:
        return False
    problem = Problem([Kind(polygon=kind.polygon, turns=kind.turns, may_flip=kind.may_flip)], region)
    crew = Crew(seed=seed, seconds=0.0, steps=1, threads=1)
    return Fill(problem, crew).fits_alone(np.random.default_rng(seed))


def _legal(problem: Problem, crew: Crew) -> State:
    """Return the best state that shapely, too, finds free of overlap and inside the region.

    It looks once more with other code at what the kernels found.
    """
    for state in reversed(crew.history):
        polygons = problem.placed_polygons(state.poses)
        if problem.is_legal(polygons):
            return state
    return State(poses=np.empty((0, 4)), score=())


def _placements(problem: Problem | None, state: State | None, parts: Sequence[Part]) -> tuple[Placement, ...]:
    if problem is None or state is None:
        return ()
    rows: Poses = state.poses
    kinds = problem.kind_of_shape[rows[:, 0].astype(np.int64)]
    order = np.lexsort((rows[:, 2], rows[:, 1], kinds))
    return tuple(
        Placement(number=n, part_id=parts[int(kinds[i])].id, pose=problem.pose(rows[i]))
        for n, i in enumerate(order, start=1)
    )


def _left_over(
    demands: Sequence[Demand],
    placements: Sequence[Placement],
    fitting: set[int],
    plate: Plate,
    edge: float,
    facts: SearchFacts,
) -> tuple[LeftOver, ...]:
    placed = Counter(p.part_id for p in placements)
    found = []
    for i, demand in enumerate(demands):
        missing = (
            (1 if i not in fitting else 0) if demand.quantity is None else demand.quantity - placed[demand.part.id]
        )
        if missing <= 0:
            continue
        reason = f"no room found for it beside the others in {facts.seconds:.0f} s of search"
        if len(placements) >= MOST_ITEMS:
            reason = f"no more than {MOST_ITEMS} pieces are laid on one plate; put the rest into another job"
        if i not in fitting:
            reason = _why_not(demand.part, plate, edge)
        found.append(LeftOver(part_id=demand.part.id, count=missing, reason=reason))
    return tuple(found)


def _why_not(part: Part, plate: Plate, edge: float) -> str:
    width, height = part.size_mm
    region = shrunk(plate.usable_polygon(PLACING_CHORD_MM), edge)
    if region.is_empty:
        return f"does not fit on {plate.name}: nothing is left of the plate inside a margin of {edge:g} mm"
    box = largest_rectangle(region)
    _, radius = largest_circle(region)
    return (
        f"found no place on {plate.name}, not even alone: it measures {width:.1f} x {height:.1f} mm; inside the "
        f"margins the plate's largest free rectangle is {box.width_mm:.1f} x {box.height_mm:.1f} mm and its largest "
        f"circle {2 * radius:.1f} mm across"
    )


class _Watch:
    """Looks at the crew now and then: reports progress, passes a call to stop on."""

    def __init__(
        self, problem: Problem, plate: Plate, demands: Sequence[Demand],
        on_progress: Callable[[Progress], None] | None, should_stop: Callable[[], bool] | None,
    ) -> None:  # fmt: skip
        self._problem, self._plate = problem, plate
        self._on_progress, self._should_stop = on_progress, should_stop
        counts = [d.quantity for d in demands]
        self._wanted = None if None in counts else sum(q for q in counts if q is not None)
        self._last = -math.inf

    def __call__(self, crew: Crew) -> bool:
        if self._should_stop is not None and self._should_stop():
            return True
        if self._on_progress is not None and crew.elapsed - self._last >= _REPORT_EVERY_S:
            self._last = crew.elapsed
            self._on_progress(self._progress(crew))
        return False

    def _progress(self, crew: Crew) -> Progress:
        state = crew.best
        rows = np.empty((0, 4)) if state is None else state.poses
        kinds = self._problem.kind_of_shape[rows[:, 0].astype(np.int64)]
        net = sum(self._problem.kinds[int(k)].net_area for k in kinds)
        return Progress(
            seconds=crew.elapsed,
            time_limit_s=crew.seconds,
            placed=len(kinds),
            wanted=self._wanted,
            utilisation=net / self._plate.area_mm2,
            phase=crew.phase,
        )
