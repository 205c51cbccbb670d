"""A settling as one JSON document."""

from typing import Any, Final

from nesting.settle.dry_run_told import CAUTIONS
from nesting.settle.outcome import Outcome
from nesting.settle.rivals import Rival
from nesting.settle.settling import Settled
from nesting.settle.verdict import verdict_lines

SCHEMA: Final = "oddplate-settled/1"
TURN_BOUND: Final = 1.959963985
"""Standard deviations of a 95 % bound on one figure that is normal (any table of the normal distribution)."""


def document(outcome: Outcome) -> dict[str, Any]:
    """Return where the plate lies, how sure that is, and what the readouts prove; lengths in mm, angles in degrees."""
    settled, layout = outcome.settled, outcome.layout
    pose, spread = settled.pose, settled.spread
    clear = None if outcome.use is None else outcome.use.clear_mm
    return {
        "schema": SCHEMA,
        "verdict": settled.verdict,
        "told": list(verdict_lines(settled, outcome.choices.unit)),
        "from_layout_id": outcome.source.id,
        "layout_id": None if layout is None else layout.id,
        "nested_again": outcome.nested_again,
        "placed": None if layout is None else len(layout.placements),
        "left_over": _left_over(outcome),
        "turn_deg": round(pose.turn_deg, 6),
        "shift_mm": [round(pose.x_mm, 4), round(pose.y_mm, 4)],
        "turn_sd_deg": round(spread.turn_sd_deg, 6),
        "turn_bound_deg": round(TURN_BOUND * spread.turn_sd_deg, 6),
        "middle_sd_mm": round(float(spread.sd_mm([spread.middle])[0]), 4),
        "worst_residual_mm": round(settled.worst_residual_mm, 4),
        "corners": _corners(settled),
        "distances": _distances(settled),
        "off_one_line_mm": round(settled.off_line_mm, 3),
        "sigma_mm": settled.allowance.sigma_mm,
        "outline_uncertainty_mm": settled.allowance.uncertainty_mm,
        "ask_for": settled.ask_for,
        "fits_as_well": [_rival(settled, r) for r in settled.open],
        "symmetries": [_rival(settled, r) for r in settled.symmetries],
        "would_fit": [_rival(settled, r) for r in settled.explained],
        "suspects": [
            {"name": s.name, "expected_mm": _rounded(s.expected), "off_mm": round(s.off_mm, 3)}
            for s in settled.suspects
        ],
        "farthest": _farthest(outcome),
        "added_mm": None if layout is None else round(outcome.added_mm, 4),
        "closest_part_mm": None if clear is None else round(clear, 4),
        "table": _table(outcome),
        "dry_run": _dry_run(outcome),
    }


def _left_over(outcome: Outcome) -> list[dict[str, Any]]:
    found = () if outcome.layout is None else outcome.layout.left_over
    return [{"part": x.part_id, "count": x.count, "reason": x.reason} for x in found]


def _corners(settled: Settled) -> list[dict[str, Any]]:
    return [
        {
            "name": c.name,
            "drawing_mm": _rounded(c.stored),
            "readout_mm": _rounded(c.at),
            "residual_mm": round(c.residual_mm, 4),
            "residual_xy_mm": _rounded(c.off),
            "times": c.times,
        }
        for c in settled.corners
    ]


def _distances(settled: Settled) -> list[dict[str, Any]]:
    return [
        {
            "from": d.start,
            "to": d.end,
            "drawing_mm": round(d.stored_mm, 4),
            "readouts_mm": round(d.measured_mm, 4),
            "off_mm": round(d.off_mm, 4),
            "allowed_mm": round(d.allowed_mm, 4),
            "holds": d.holds,
        }
        for d in settled.distances
    ]


def _rival(settled: Settled, rival: Rival) -> dict[str, Any]:
    return {
        "read_as": [settled.universe.names[k] for k in rival.corners],
        "flipped": rival.mirrored,
        "outline_differs_mm": round(rival.differs_mm, 3),
        "unlike": list(rival.unlike),
    }


def _farthest(outcome: Outcome) -> dict[str, Any] | None:
    if outcome.use is None:
        return None
    far = outcome.use.farthest
    return {
        "part": far.number or None,
        "name": far.name,
        "drawing_mm": _rounded(far.at),
        "sd_mm": round(far.sd_mm, 4),
        "bound_mm": round(far.bound_mm, 4),
    }


def _table(outcome: Outcome) -> dict[str, Any] | None:
    travel = outcome.choices.travel
    if travel is None:
        return None
    return {
        "travel_mm": [travel.width_mm, travel.height_mm],
        "zero": travel.zero,
        "source": outcome.choices.travel_source,
        "beyond": [
            {"what": b.what, "side": b.side, "by_mm": round(b.by_mm, 3), "at_mm": _rounded(b.at)}
            for b in (*outcome.beyond, *outcome.plate_beyond)
        ],
    }


def _dry_run(outcome: Outcome) -> dict[str, Any] | None:
    run = outcome.dry_run
    if run is None:
        return None
    return {
        "torch": "off",
        "outline": [{"name": p.name, "at_mm": _rounded(p.point)} for p in run.outline],
        "holes": [{"name": p.name, "at_mm": _rounded(p.point)} for p in run.holes],
        "cuts_box_mm": None if run.cuts is None else [round(v, 3) for v in run.cuts],
        "cautions": list(CAUTIONS),
    }


def _rounded(point: tuple[float, float]) -> list[float]:
    return [round(point[0], 4), round(point[1], 4)]
