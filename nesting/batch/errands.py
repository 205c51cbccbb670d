"""Independent pieces of work: each goes to any executor, is pickled there and back, and knows nothing of the others."""

import os
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from nesting.check import check_layout
from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.errors import InfeasibleError
from nesting.layout import Layout, Placement
from nesting.plate import Plate
from nesting.search.bound import most_area_mm2
from nesting.search.several import fill_plates, pull_layout

_called_off: Any = None
"""An event that calls the work of this process off; None in pools of others, where work goes on to its end."""


def listen_to(event: Any) -> None:
    """Let an event, or nothing, call the work of this process off."""
    global _called_off
    _called_off = event


def enrol(event: Any) -> None:
    """Make a process of a pool listen to an event; Ctrl-C is for the process that leads."""
    import signal

    listen_to(event)
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def warm_up(_: int) -> None:
    """Load the search, or compile it the first time, before any clock starts."""
    from nesting.search.engine import load_kernels

    load_kernels()


def _at_hand(threads: int) -> int:
    """So many threads, but no more than there are processors where the errand runs."""
    return min(threads, os.cpu_count() or 1)


def _stop() -> Callable[[], bool] | None:
    return None if _called_off is None else _called_off.is_set


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One piece of plate of a chain: which of the demands, by part id, it may serve, and what lies there already.

    `allowed` are those of them that are not known to find no place there; with `doubtful` some were not tried yet.
    """

    plate: Plate
    clearances: Clearances
    serves: frozenset[str]
    allowed: frozenset[str]
    start: tuple[Placement, ...] = ()
    doubtful: bool = False


@dataclass(frozen=True, kw_only=True)
class Chain:
    """Fill pieces one after the other, each with what those before it left; end once nothing is left.

    With 0 `seconds` what lies on them stays.  With `together_s` the pieces are then searched as one for so long, if
    something is still left over.
    """

    stages: tuple[Stage, ...]
    demands: tuple[Demand, ...]
    seed: int
    seconds: float
    together_s: float = 0.0
    threads: int = 1


@dataclass(frozen=True, kw_only=True)
class Filled:
    """A checked layout for each piece of a chain; one that does not pass the check comes back empty.

    `misfits` are the parts that found no place on a piece even alone, `tried` those of which it is known.
    """

    layouts: tuple[Layout, ...]
    misfits: tuple[frozenset[str], ...]
    tried: tuple[frozenset[str], ...]


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """Find out what a piece could take at most."""

    plate: Plate
    clearances: Clearances
    demands: tuple[Demand, ...]


@dataclass(frozen=True, kw_only=True)
class Tidy:
    """Pull what lies on a piece together."""

    layout: Layout
    seed: int
    seconds: float
    threads: int = 1


@dataclass(frozen=True, kw_only=True)
class Quick:
    """Lay on an empty piece what the first greedy layout finds a place for."""

    plate: Plate
    clearances: Clearances
    demands: tuple[Demand, ...]


def fill_chain(chain: Chain) -> Filled:
    """Fill the pieces of a chain."""
    left = {d.part.id: d for d in chain.demands}
    for stage in chain.stages:
        left = _less(left, stage.start)
    layouts, misfits, tried = [], [], []
    for stage in chain.stages:
        wanted = _more(left, stage.start, chain.demands)
        there = {p.part_id for p in stage.start}
        offered = tuple(d for d in wanted.values() if d.part.id in stage.allowed or d.part.id in there)
        layout, strange, known = _filled(stage, offered, chain)
        left = _less(wanted, layout.placements)
        layouts.append(layout)
        misfits.append(strange)
        tried.append(known)
    if left and chain.together_s > 0.0:
        layouts = _together(chain, layouts)
    return Filled(layouts=tuple(passed(x) for x in layouts), misfits=tuple(misfits), tried=tuple(tried))


def gauge(task: Gauge) -> float:
    """Return a net part area that no layout on the piece exceeds."""
    return most_area_mm2(task.plate, task.demands, task.clearances) if task.demands else 0.0


def tidy(task: Tidy) -> Layout:
    """Return the layout pulled together, or as it was if that does not pass the check."""
    found = pull_layout(
        task.layout, seed=task.seed, time_limit_s=task.seconds, threads=_at_hand(task.threads), should_stop=_stop()
    )
    return found if check_layout(found).passed else task.layout


def lay_quickly(task: Quick) -> Layout:
    """Return the first greedy layout, checked, whatever the clock says; without parts where there is no room."""
    try:
        found = fill_plates(
            [task.plate], task.demands, task.clearances, time_limit_s=0.0, steps=1, try_alone=False
        )  # fmt: skip
    except InfeasibleError:
        return Layout(plate=task.plate, clearances=task.clearances, demands=())
    return passed(found.layouts[0])


def passed(layout: Layout) -> Layout:
    """Return a layout that the check passes as it is, any other without its parts."""
    if not layout.placements or check_layout(layout).passed:
        return layout
    return replace(layout, placements=(), demands=())


def _filled(
    stage: Stage, demands: tuple[Demand, ...], chain: Chain
) -> tuple[Layout, frozenset[str], frozenset[str]]:  # fmt: skip
    """Return the layout, the parts that found no place even alone, and those of which it is known."""
    empty = Layout(plate=stage.plate, clearances=stage.clearances, demands=())
    stop = _stop()
    ids = frozenset(d.part.id for d in demands)
    if not demands or chain.seconds <= 0.0 or (stop is not None and stop()):
        kept = Counter(p.part_id for p in stage.start)
        there = tuple(replace(d, quantity=kept[d.part.id]) for d in demands if kept[d.part.id])
        return replace(empty, placements=stage.start, demands=there), frozenset(), frozenset()
    try:
        found = fill_plates(
            [stage.plate],
            demands,
            stage.clearances,
            seed=chain.seed,
            time_limit_s=chain.seconds,
            threads=_at_hand(chain.threads),
            start=[stage.start],
            try_alone=stage.doubtful,
            should_stop=stop,
        )
    except InfeasibleError:
        return empty, ids, ids
    misfits = frozenset(d.part.id for d, fits in zip(demands, found.fits, strict=True) if not fits)
    called_off = stop is not None and stop()
    return found.layouts[0], misfits, ids if stage.doubtful and not called_off else frozenset()


def _together(chain: Chain, layouts: list[Layout]) -> list[Layout]:
    # What one piece may not serve must not stray to it; what only does not fit there will not.
    if len({s.serves for s in chain.stages}) > 1 or not any(layout.placements for layout in layouts):
        return layouts
    there = frozenset(p.part_id for layout in layouts for p in layout.placements)
    allowed = there.union(*(s.allowed for s in chain.stages))
    demands = tuple(d for d in chain.demands if d.part.id in allowed)
    found = fill_plates(
        [s.plate for s in chain.stages],
        demands,
        chain.stages[0].clearances,
        seed=chain.seed,
        time_limit_s=chain.together_s,
        start=[layout.placements for layout in layouts],
        try_alone=False,
        should_stop=_stop(),
    )
    return list(found.layouts)


def _less(left: dict[str, Demand], placements: tuple[Placement, ...]) -> dict[str, Demand]:
    taken = Counter(p.part_id for p in placements)
    counts = {i: (d.quantity or 0) - taken[i] for i, d in left.items()}
    return {i: replace(d, quantity=counts[i]) for i, d in left.items() if counts[i] > 0}


def _more(left: dict[str, Demand], placements: tuple[Placement, ...], demands: tuple[Demand, ...]) -> dict[str, Demand]:
    """What is left and what lies on a piece already, together."""
    there = Counter(p.part_id for p in placements)
    counts = {
        d.part.id: (left[d.part.id].quantity or 0 if d.part.id in left else 0) + there[d.part.id] for d in demands
    }
    return {d.part.id: replace(d, quantity=counts[d.part.id]) for d in demands if counts[d.part.id] > 0}
