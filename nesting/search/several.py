"""Several plates at once, or a layout to begin with: the search as a step of a larger plan.

The plates' usable regions are set side by side and searched as one region in pieces, so that parts move from plate to
plate in the same guided search that finds their places.
"""

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, Polygon

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.errors import InfeasibleError, JobError
from nesting.layout import Layout, Placement, SearchFacts
from nesting.plate import Plate
from nesting.pull import EDGES, Pull
from nesting.search import region as region_arrays
from nesting.search.alone import fitting_alone
from nesting.search.crew import Crew, State
from nesting.search.engine import RestOf, legal_state, load_kernels, placements_of, pulled_together, usable_region
from nesting.search.fill import Fill
from nesting.search.kernels.arrays import Region
from nesting.search.kinds import kinds_of
from nesting.search.problem import Kind, Poses, Problem

REMEMBERED = 40
"""So many regions are kept in memory, of some 1.5 MB each."""

_APART = 0.02
"""Room between the plates, as a share of the widest, so that none touches another."""


@dataclass(frozen=True, kw_only=True)
class Filled:
    """One layout for each plate, in their order, and which demands found a place on some empty plate alone."""

    layouts: tuple[Layout, ...]
    fits: tuple[bool, ...]


def fill_plates(
    plates: Sequence[Plate],
    demands: Sequence[Demand],
    clearances: Clearances,
    *,
    seed: int = 0,
    time_limit_s: float = 30.0,
    steps: int | None = None,
    threads: int = 1,
    start: Sequence[Sequence[Placement]] = (),
    try_alone: bool = True,
    should_stop: Callable[[], bool] | None = None,
) -> Filled:
    """Lay as much of the demands as finds a place on the plates; end as soon as everything has one.

    `start` gives for each plate what lies there to begin with, legal, of these demands and no more than is wanted.
    Every layout holds the demands of what lies on its plate, in that number.  Each part is tried alone first, unless
    it is known with `try_alone` off that all fit; what lies there fits.  Raises `InfeasibleError` if no plate has room
    inside its margins, `JobError` if a turn is tied to a grain that is not the same on all plates.
    """
    if len({p.grain_deg for p in plates}) > 1 and any(d.turns.rule == "grain" for d in demands):
        raise JobError("parts along the grain are laid out on plates of one grain at a time")
    board = _Board.of(plates, clearances)
    # The least exact plate asks for most room round a lead-in.
    kinds = _kinds(max(plates, key=lambda p: p.uncertainty_mm), demands, clearances, start)
    _kernels_loaded()
    packed = _packed(board.region.wkb)
    begun = time.monotonic()
    crew = _crew(seed, time_limit_s, steps, threads, should_stop)
    whole = Problem(kinds, board.region, packed=packed)
    there = {p.part_id for placements in start for p in placements}
    alone = fitting_alone(whole, crew) if try_alone else range(len(kinds))
    # What lies there fits, whatever came of trying it.
    fitting = [i for i, d in enumerate(demands) if i in alone or d.part.id in there]
    placements: tuple[tuple[Placement, ...], ...] = tuple(() for _ in plates)
    if fitting:
        problem = (
            whole if len(fitting) == len(kinds) else Problem([kinds[i] for i in fitting], board.region, packed=packed)
        )
        chosen = [demands[i] for i in fitting]
        best = _filled(problem, crew, board.rows(problem, chosen, start))
        placements = board.placements(problem, best, chosen)
    facts = _facts(crew, begun)
    layouts = tuple(
        _layout(plate, clearances, demands, placed, facts) for plate, placed in zip(plates, placements, strict=True)
    )
    return Filled(layouts=layouts, fits=tuple(i in set(fitting) for i in range(len(demands))))


def pull_layout(
    layout: Layout,
    *,
    pull_to: Sequence[Pull] = EDGES,
    seed: int = 0,
    time_limit_s: float = 10.0,
    steps: int | None = None,
    threads: int = 1,
    should_stop: Callable[[], bool] | None = None,
) -> Layout:
    """Pull the parts of a layout together, so that the rest of its plate stays in one piece; all stay on it."""
    plate, clearances = layout.plate, layout.clearances
    board = _Board.of([plate], clearances)
    _kernels_loaded()
    begun = time.monotonic()
    packed = _packed(board.region.wkb)
    kinds = _kinds(plate, layout.demands, clearances, [layout.placements])
    problem = Problem(kinds, board.region, packed=packed)
    crew = _crew(seed, time_limit_s, steps, threads, should_stop)
    rest = RestOf(problem=problem, plate=plate, parts=[d.part for d in layout.demands], clearances=clearances)
    first = State(poses=board.rows(problem, layout.demands, [layout.placements]), score=())
    best, pulled = pulled_together(problem, crew, pull_to, rest, [first])
    placed = board.placements(problem, best, layout.demands)[0]
    facts = replace(_facts(crew, begun), pulled=pulled)
    return replace(layout, placements=placed, search=facts, id="")


def _kinds(
    plate: Plate, demands: Sequence[Demand], clearances: Clearances, start: Sequence[Sequence[Placement]]
) -> list[Kind]:
    """Return the kinds of demands; what lies there turned over may be turned over, even if that adds nothing here."""
    turned_over = {p.part_id for placements in start for p in placements if p.pose.flipped}
    kinds = kinds_of(plate, demands, clearances)
    return [replace(k, may_flip=k.may_flip or d.part.id in turned_over) for k, d in zip(kinds, demands, strict=True)]


@lru_cache(maxsize=1)
def _kernels_loaded() -> None:
    load_kernels()


@lru_cache(maxsize=REMEMBERED)
def _packed(wkb: bytes) -> Region:
    """The arrays of a region: dear to make, and a plan comes back to the same pieces over and over."""
    region = shapely.from_wkb(wkb)
    assert isinstance(region, Polygon | MultiPolygon)
    return region_arrays.pack(region)


def _crew(
    seed: int, seconds: float, steps: int | None, threads: int, should_stop: Callable[[], bool] | None
) -> Crew:  # fmt: skip
    crew = Crew(seed=seed, seconds=seconds, steps=steps, threads=threads)
    crew.watch = None if should_stop is None else lambda _: should_stop()
    return crew


def _filled(problem: Problem, crew: Crew, start: Poses) -> State:
    fill = Fill(problem, crew)
    if len(start):
        crew.offer(State(poses=start, score=fill.score(fill.kinds_of(State(poses=start, score=())))))
    else:
        crew.run(fill.greedy, crew.seconds)
    if crew.best is None:
        crew.offer(State(poses=start, score=fill.score(np.empty(0, dtype=np.int64))))
    if not fill.complete() and not crew.called_off:
        crew.run(fill.improve, crew.seconds)
    return legal_state(problem, crew)


def _facts(crew: Crew, begun: float) -> SearchFacts:
    return SearchFacts(
        seed=crew.seed,
        steps=crew.steps_taken,
        seconds=round(time.monotonic() - begun, 3),
        poses_tried=crew.poses_tried,
        threads=crew.threads,
        stopped="asked to stop" if crew.called_off else "finished",
    )


def _layout(
    plate: Plate, clearances: Clearances, demands: Sequence[Demand], placed: tuple[Placement, ...], facts: SearchFacts
) -> Layout:
    counts = {d.part.id: sum(p.part_id == d.part.id for p in placed) for d in demands}
    there = tuple(replace(d, quantity=counts[d.part.id]) for d in demands if counts[d.part.id])
    return Layout(plate=plate, clearances=clearances, demands=there, placements=placed, search=facts)


@dataclass(frozen=True, kw_only=True)
class _Board:
    """Plates side by side: `shifts` move each from its own place there, `boxes` hold one each."""

    region: Polygon | MultiPolygon
    shifts: tuple[tuple[float, float], ...]
    boxes: tuple[tuple[float, float, float, float], ...]

    @staticmethod
    def of(plates: Sequence[Plate], clearances: Clearances) -> "_Board":
        """Set the plates in rows that make up about a square, since the search's grids are square."""
        regions = [_region_or_nothing(p, clearances) for p in plates]
        if all(r.is_empty for r in regions):
            usable_region(plates[0], clearances)  # raises, and tells why
        sizes = [(b[2] - b[0], b[3] - b[1]) for b in (r.bounds for r in regions)]
        between = _APART * max(max(s) for s in sizes if not math.isnan(s[0])) if len(plates) > 1 else 0.0
        columns = math.ceil(math.sqrt(len(plates)))
        shifts, boxes, pieces = [], [], []
        y = 0.0
        for row in range(0, len(plates), columns):
            x, tallest = 0.0, 0.0
            for region, (width, height) in list(zip(regions, sizes, strict=True))[row : row + columns]:
                if region.is_empty:
                    shifts.append((0.0, 0.0))
                    boxes.append((math.nan,) * 4)
                    continue
                x0, y0, _, _ = region.bounds
                # A plate alone stays where it is, to the last digit.
                dx, dy = (x - x0, y - y0) if len(plates) > 1 else (0.0, 0.0)
                shifts.append((dx, dy))
                near = between / 3 if len(plates) > 1 else math.inf
                boxes.append((x0 + dx - near, y0 + dy - near, x0 + dx + width + near, y0 + dy + height + near))
                pieces += shapely.get_parts(translate(region, dx, dy)).tolist()
                x, tallest = x + width + between, max(tallest, height)
            y += tallest + between
        region = pieces[0] if len(pieces) == 1 else MultiPolygon(pieces)
        return _Board(region=region, shifts=tuple(shifts), boxes=tuple(boxes))

    def rows(self, problem: Problem, demands: Sequence[Demand], start: Sequence[Sequence[Placement]]) -> Poses:
        """The poses of what lies there to begin with."""
        kind = {d.part.id: k for k, d in enumerate(demands)}
        found = [
            problem.row(kind[p.part_id], replace(p.pose, x_mm=p.pose.x_mm + dx, y_mm=p.pose.y_mm + dy))
            for placements, (dx, dy) in zip(start, self.shifts, strict=False)
            for p in placements
        ]
        return np.array(found, dtype=np.float64).reshape(-1, 4)

    def placements(
        self, problem: Problem, state: State, demands: Sequence[Demand]
    ) -> tuple[tuple[Placement, ...], ...]:
        """What lies on each plate, in the plate's own place."""
        parts = [d.part for d in demands]
        found = []
        for (x0, y0, x1, y1), (dx, dy) in zip(self.boxes, self.shifts, strict=True):
            x, y = state.poses[:, 1], state.poses[:, 2]
            rows = state.poses[(x0 <= x) & (x <= x1) & (y0 <= y) & (y <= y1)]
            placed = placements_of(problem, State(poses=rows, score=()), parts)
            found.append(
                tuple(replace(p, pose=replace(p.pose, x_mm=p.pose.x_mm - dx, y_mm=p.pose.y_mm - dy)) for p in placed)
            )
        return tuple(found)


def _region_or_nothing(plate: Plate, clearances: Clearances) -> Polygon | MultiPolygon:
    try:
        return usable_region(plate, clearances)
    except InfeasibleError:
        return Polygon()
