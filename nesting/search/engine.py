"""The search, from nouns to nouns: parts, plate and clearances in, a layout out."""

import math
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.errors import InfeasibleError, JobError
from nesting.geometry.largest import largest_circle, largest_rectangle
from nesting.layout import FreeRest, Layout, LeftOver, Placement, Pulled, SearchFacts
from nesting.part import Part
from nesting.plate import Plate
from nesting.pull import EDGES, Pull
from nesting.search.alone import fitting_alone
from nesting.search.bound import most_area_mm2
from nesting.search.compact import compacted
from nesting.search.crew import Crew, State
from nesting.search.fill import MOST_ITEMS, PULLS, Fill
from nesting.search.grow import shrunk
from nesting.search.kinds import kinds_of
from nesting.search.problem import Kind, Poses, Problem
from nesting.search.rest import free_rest, measured
from nesting.search.shorten import Shorten, ways_to_shorten
from nesting.tolerances import PLACING_CHORD_MM

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
    pull_to: Sequence[Pull] = EDGES,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Layout:
    """Lay the demands out on the plate.

    Parts with a quantity come first, by priority, then those of which as many as fit are wanted.  Once all are placed
    the time left goes into pulling them together to one of `pull_to`, so that the rest of the plate stays in one piece.

    With `steps` the search takes that many steps on one thread whatever the time: the same call then gives the same
    layout on the same machine.  Raises `InfeasibleError` if the plate has no room inside its margins, `JobError` if
    there is nothing to place, two demands share a part's id, or a turn is tied to a grain that is not known.
    """
    _require_demands(demands)
    region = usable_region(plate, clearances)
    kinds = kinds_of(plate, demands, clearances)
    bound = most_area_mm2(plate, demands, clearances) / plate.area_mm2
    load_kernels()
    begun = time.monotonic()
    crew = Crew(seed=seed, seconds=time_limit_s, steps=steps, threads=threads)
    crew.watch = _Watch(None, plate, demands, on_progress, should_stop)
    whole = Problem(kinds, region)
    fitting = fitting_alone(whole, crew)
    problem = whole if len(fitting) == len(kinds) else _part_of(whole, fitting) if fitting else None
    parts = [demands[i].part for i in fitting]
    best, pulled = None, None
    if problem is not None:
        crew.watch = _Watch(problem, plate, demands, on_progress, should_stop)
        rest = RestOf(problem=problem, plate=plate, parts=parts, clearances=clearances)
        best, pulled = _run(problem, crew, pull_to, rest)
    placements = placements_of(problem, best, parts)
    facts = SearchFacts(
        seed=seed,
        steps=crew.steps_taken,
        seconds=round(time.monotonic() - begun, 3),
        poses_tried=crew.poses_tried,
        threads=crew.threads,
        stopped="asked to stop" if crew.called_off else "finished",
        bound_utilisation=bound,
        pulled=pulled,
    )
    return Layout(
        plate=plate,
        clearances=clearances,
        demands=tuple(demands),
        placements=placements,
        left_over=_left_over(
            demands,
            placements,
            set(fitting),
            plate,
            shrunk(region, clearances.gap_mm / 2),
            facts,
            keeps_lead_room=clearances.keep_lead_room,
        ),
        search=facts,
    )


def _part_of(whole: Problem, kinds: Sequence[int]) -> Problem:
    """The same region with some of the kinds only."""
    return Problem([whole.kinds[i] for i in kinds], whole.region_polygon, packed=whole.region)


def usable_region(plate: Plate, clearances: Clearances) -> Polygon | MultiPolygon:
    """Return where grown parts may lie; raise `InfeasibleError` if that is nowhere."""
    edge = clearances.edge_mm(plate.uncertainty_mm)
    inset = edge - clearances.gap_mm / 2
    # Room for lead-ins is worked out for a region within the plate.
    region = shrunk(plate.usable_polygon(PLACING_CHORD_MM), max(inset, 0.0) if clearances.keep_lead_room else inset)
    if region.is_empty:
        raise InfeasibleError(
            f"{plate.name}: nothing is left of the plate inside a margin of {edge:g} mm; use a smaller margin or "
            "another plate"
        )
    return region


def _require_demands(demands: Sequence[Demand]) -> None:
    if not demands:
        raise JobError("there is nothing to place; give at least one part")
    twice = [i for i, count in Counter(d.part.id for d in demands).items() if count > 1]
    if twice:
        raise JobError(
            f"{', '.join(twice)}: wanted in more than one demand; give every part an id of its own, or ask for all "
            "pieces of it at once"
        )


def load_kernels() -> None:
    """Compile the kernels, or load them from where an earlier run left them, before any clock starts."""
    problem = Problem([Kind(polygon=shapely.box(0, 0, 1, 1), turns=None)], shapely.box(0, 0, 4, 4))
    fill = Fill(problem, Crew(seed=0, seconds=0.0, steps=1, threads=1))
    poses = fill.greedy_once(PULLS[0], np.random.default_rng(0)).poses
    fill.separate_once(poses)
    compacted(problem, poses, (1.0, 0.0), seconds=math.inf)


@dataclass(frozen=True, kw_only=True)
class RestOf:
    """Measures the free rest of a state."""

    problem: Problem
    plate: Plate
    parts: Sequence[Part]
    clearances: Clearances

    def __call__(self, state: State) -> FreeRest:
        placements = placements_of(self.problem, state, self.parts)
        return measured(free_rest(self.plate, {p.id: p for p in self.parts}, placements, self.clearances))


def _run(problem: Problem, crew: Crew, pull_to: Sequence[Pull], rest: RestOf) -> tuple[State, Pulled | None]:
    fill = Fill(problem, crew)
    crew.phase = "placing"
    crew.run(fill.greedy, crew.seconds)
    if crew.best is None:
        crew.offer(State(poses=np.empty((0, 4)), score=fill.score(np.empty(0, dtype=np.int64))))
    if not fill.complete() and not crew.called_off:
        crew.phase = "filling"
        crew.run(fill.improve, crew.seconds)
    best = legal_state(problem, crew)
    if crew.called_off or fill.waiting(best):
        return best, None
    return pulled_together(problem, crew, pull_to, rest, [best, *fill.complete_states])


def pulled_together(
    problem: Problem, crew: Crew, pull_to: Sequence[Pull], rest: RestOf, states: Sequence[State]
) -> tuple[State, Pulled | None]:
    """Pull one of `states`, all of the same items, to one of the places; return the first as it is where that fails."""
    best = states[0]
    crew.phase = "pulling together"
    begun = time.monotonic()
    before = rest(best)
    measuring_s = time.monotonic() - begun
    if crew.steps is None and crew.elapsed + measuring_s >= crew.seconds:
        return best, None
    way = ways_to_shorten(problem, states, pull_to)[0]
    shorten = Shorten(problem, crew, way.away)
    crew.restart(shorten.state(way.state.poses))
    # What is found has to be measured too, in as much time as before.
    crew.run(shorten.work, crew.seconds - measuring_s - shorten.reserved_s)
    if not crew.called_off:
        shorten.tighten()
    shortened = legal_state(problem, crew)
    if len(shortened.poses) < len(best.poses):
        return best, None
    after = rest(shortened)
    # Where the choice is ours, a smaller rectangle is not worth the pulling.
    if len(pull_to) > 1 and math.prod(after.rectangle_mm) < math.prod(before.rectangle_mm):
        return best, Pulled(to="nowhere", before=before, after=before)
    return shortened, Pulled(to=str(way.pull), before=before, after=after)


def legal_state(problem: Problem, crew: Crew) -> State:
    """Return the best state that shapely, too, finds free of overlap and inside the region.

    It looks once more with other code at what the kernels found.
    """
    for state in reversed(crew.history):
        polygons = problem.placed_polygons(state.poses)
        if problem.is_legal(polygons):
            return state
    return State(poses=np.empty((0, 4)), score=())


def placements_of(problem: Problem | None, state: State | None, parts: Sequence[Part]) -> tuple[Placement, ...]:
    """Return the items of a state as numbered placements; none where there is no state."""
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
    room: Polygon | MultiPolygon,
    facts: SearchFacts,
    *,
    keeps_lead_room: bool,
) -> tuple[LeftOver, ...]:
    placed = Counter(p.part_id for p in placements)
    found = []
    largest = ""
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
            largest = largest or _largest_places(room)
            width, height = demand.part.size_mm
            reason = (
                f"found no place on {plate.name}, not even alone: it measures {width:.1f} x {height:.1f} mm; {largest}"
            )
            reason += "; the room kept for its lead-ins comes on top" if keeps_lead_room else ""
        found.append(LeftOver(part_id=demand.part.id, count=missing, reason=reason))
    return tuple(found)


def _largest_places(room: Polygon | MultiPolygon) -> str:
    """Say what the empty plate offers; `room` is where finished parts may lie."""
    if room.is_empty:
        return "nothing is left of the plate inside its margins"
    box = largest_rectangle(room)
    _, radius = largest_circle(room)
    return (
        f"inside the margins the plate's largest free rectangle is {box.width_mm:.1f} x {box.height_mm:.1f} mm and "
        f"its largest circle {2 * radius:.1f} mm across"
    )


class _Watch:
    """Looks at the crew now and then: reports progress, passes a call to stop on."""

    def __init__(
        self, problem: Problem | None, plate: Plate, demands: Sequence[Demand],
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
        net = 0.0
        if self._problem is not None:
            kinds = self._problem.kind_of_shape[rows[:, 0].astype(np.int64)]
            net = sum(self._problem.kinds[int(k)].net_area for k in kinds)
        return Progress(
            seconds=crew.elapsed,
            time_limit_s=crew.seconds,
            placed=len(rows),
            wanted=self._wanted,
            utilisation=net / self._plate.area_mm2,
            phase=crew.phase,
        )
