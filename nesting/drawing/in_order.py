"""Curves to contours in the order of a written file, where each contour stands whole before the next."""

import math
from collections.abc import Sequence
from dataclasses import replace

from nesting.drawing.chain import Chain, Chained, Loop, loop_of
from nesting.drawing.entities import Drawn
from nesting.tolerances import JOIN_SILENT_MM, NODE_MM


def in_order(drawn: Sequence[Drawn]) -> Chained:
    """Chain curves in the order of the file, each contour closed before the next begins.

    A written drawing has its contours one after another, so that outlines which touch or share an edge stay apart.
    What does not close in order comes back as chains.
    """
    loops: list[Loop] = []
    loose: list[Drawn] = []
    run: list[Drawn] = []
    for d in drawn:
        if d.curve.closed:
            loops.append(loop_of((d,)))
            continue
        step = _following(run, d)
        # Ends a little apart close a contour only if it does not go on: fine outlines come near their start early.
        if step is None and _closes(run, JOIN_SILENT_MM):
            loops.append(loop_of(run))
            run = []
        elif step is None:
            loose += run
            run = []
        run = step or [d]
        if _closes(run, NODE_MM):
            loops.append(loop_of(run))
            run = []
    if _closes(run, JOIN_SILENT_MM):
        loops.append(loop_of(run))
        run = []
    loose += run
    return Chained(loops=tuple(loops), chains=tuple(Chain((d,)) for d in loose), findings=())


def _closes(run: Sequence[Drawn], distance_mm: float) -> bool:
    if not run or math.dist(run[0].curve.start, run[-1].curve.end) > distance_mm:
        return False
    return len(run) > 1 or run[0].curve.length_mm > 2 * JOIN_SILENT_MM


def _following(run: list[Drawn], d: Drawn) -> list[Drawn] | None:
    """Return the run with a curve added at its end, turned round as needed, or None if it does not meet."""
    if not run:
        return [d]
    runs = [run]
    if len(run) == 1:
        runs.append([_turned(run[0])])
    for start in runs:
        for step in (d, _turned(d)):
            if math.dist(start[-1].curve.end, step.curve.start) <= JOIN_SILENT_MM:
                return [*start, step]
    return None


def _turned(d: Drawn) -> Drawn:
    return replace(d, curve=d.curve.reversed())
