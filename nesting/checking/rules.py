"""The job's rules that are not distances: numbers, quantities, turns, flips, thickness and grade."""

import math
from collections import Counter, defaultdict
from typing import Final

from nesting.checking.findings import CheckFinding, Kind, Piece
from nesting.demand import Demand, Turns
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement

_TURN_DEG: Final = 1e-6
"""Turns this near are the same: at 10 m from the origin it moves a corner by 0.0002 mm."""

_THICKNESS_MM: Final = 0.01
"""Thicknesses this near are the same nominal one, written in inches or millimetres."""


def check_rules(layout: Layout) -> list[CheckFinding]:
    """Return every rule of the job that the layout breaks."""
    return [
        *_numbers(layout),
        *_unusable(layout),
        *_quantities(layout),
        *_turns(layout),
        *_materials(layout),
    ]


def usable(placement: Placement) -> bool:
    """Tell whether a pose holds finite numbers; nothing can be measured otherwise."""
    pose = placement.pose
    return all(map(math.isfinite, (pose.turn_deg, pose.x_mm, pose.y_mm)))


def _piece(layout: Layout, placement: Placement) -> Piece:
    part = layout.parts.get(placement.part_id)
    name = part.name if part else placement.part_id
    return Piece(number=placement.number, name=name, place=(placement.pose.x_mm, placement.pose.y_mm))


def _numbers(layout: Layout) -> list[CheckFinding]:
    counts = Counter(p.number for p in layout.placements)
    return [_told("number", f"number {n} is used {count} times") for n, count in counts.items() if count > 1]


def _unusable(layout: Layout) -> list[CheckFinding]:
    found = []
    for placement in layout.placements:
        piece = _piece(layout, placement)
        if placement.part_id not in layout.parts:
            found.append(_told("part", f"{piece}: no part {placement.part_id!r} is wanted", piece))
        if not usable(placement):
            found.append(_told("pose", f"{piece}: its place is not made of finite numbers", piece))
    return found


def _demands(layout: Layout) -> dict[str, list[Demand]]:
    by_part = defaultdict(list)
    for demand in layout.demands:
        by_part[demand.part.id].append(demand)
    return by_part


def _quantities(layout: Layout) -> list[CheckFinding]:
    found = []
    placed = Counter(p.part_id for p in layout.placements)
    left: Counter[str] = Counter()
    for entry in layout.left_over:
        left[entry.part_id] += entry.count
    for part_id, demands in _demands(layout).items():
        quantities = [d.quantity for d in demands]
        if None in quantities:
            continue
        name, wanted = demands[0].part.name, sum(q or 0 for q in quantities)
        if placed[part_id] > wanted:
            found.append(_told("quantity", f"{name}: {placed[part_id]} placed, only {wanted} wanted"))
        elif placed[part_id] + left[part_id] != wanted:
            sums = f"{placed[part_id]} placed + {left[part_id]} left over is not the {wanted} wanted"
            found.append(_told("quantity", f"{name}: {sums}"))
    return found


def _turns(layout: Layout) -> list[CheckFinding]:
    found = []
    by_part, grain_deg = _demands(layout), layout.plate.grain_deg
    for placement in filter(usable, layout.placements):
        demands = by_part.get(placement.part_id, [])
        piece, pose = _piece(layout, placement), placement.pose
        if demands and pose.flipped and not any(d.may_flip for d in demands):
            found.append(_told("flip", f"{piece} is turned over, which is not allowed", piece))
        if demands and not any(_turn_allowed(d.turns, pose, grain_deg) for d in demands):
            allowed = _allowed(demands[0].turns, grain_deg)
            tale = f"{piece} is turned by {pose.turn_deg:.6g} degrees; allowed: {allowed}"
            found.append(_told("turn", tale, piece))
    return found


def _allowed(turns: Turns, grain_deg: float | None) -> str:
    if turns.rule == "listed":
        return ", ".join(f"{a:g}" for a in turns.angles_deg)
    grain = "which is not known for this plate" if grain_deg is None else f"at {grain_deg:g} degrees"
    return f"along the grain, {grain}"


def _turn_allowed(turns: Turns, pose: Pose, grain_deg: float | None) -> bool:
    if turns.rule == "any":
        return True
    if turns.rule == "listed":
        return any(_apart_deg(pose.turn_deg, angle, 360.0) <= _TURN_DEG for angle in turns.angles_deg)
    return grain_deg is not None and _apart_deg(pose.direction_deg(0.0), grain_deg, 180.0) <= _TURN_DEG


def _apart_deg(a: float, b: float, period: float) -> float:
    return abs(math.remainder(a - b, period))


def _materials(layout: Layout) -> list[CheckFinding]:
    """Compare only what both part and plate state: what is unknown cannot contradict."""
    found = []
    thick_mm, grade = layout.plate.thickness_mm, layout.plate.grade
    for part in layout.parts.values():
        if not layout.placed(part.id):
            continue
        if _differ(part.thickness_mm, thick_mm):
            tale = f"{part.name} is {part.thickness_mm:g} mm thick, the plate {thick_mm:g} mm"
            found.append(_told("thickness", tale))
        if part.grade is not None and grade is not None and _grade(part.grade) != _grade(grade):
            found.append(_told("grade", f"{part.name} wants grade {part.grade}, the plate is {grade}"))
    return found


def _differ(a_mm: float | None, b_mm: float | None) -> bool:
    return a_mm is not None and b_mm is not None and abs(a_mm - b_mm) > _THICKNESS_MM


def _grade(text: str) -> str:
    return "".join(text.split()).casefold()


def _told(kind: Kind, message: str, *pieces: Piece) -> CheckFinding:
    return CheckFinding(kind=kind, message=message, pieces=pieces)
