"""Edge walk: lengths and turns from corner to corner, the closing error shared out by the compass rule.

Compass rule (N. Bowditch): every leg takes of the closing error, x and y each, what its length is of the whole way;
angles that do not add up to a full turn are first corrected by equal shares.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from nesting.errors import InputError
from nesting.outline.bounds import best_set_up
from nesting.outline.captured import Captured
from nesting.outline.pasted import Pasted, Row
from nesting.outline.rings import ring
from nesting.units import Unit

Floats = NDArray[np.float64]
Angles = Literal["turn", "inside", "bearing"]

LENGTH_SIGMA_MM: Final = 1.0
ANGLE_SIGMA_DEG: Final = 0.5
"""An edge by tape, an angle by an angle finder (common practice, no source)."""

_TOO_BIG: Final = 0.999
"""A closing error that readings of the stated quality exceed once in a thousand walks is a mistake."""

_NEARLY_DEG: Final = 20.0
_AS_NEARLY_DEG: Final = 5.0
_LEFT: Final = re.compile(r"(left|right|[lr])\b\.?\s*(.*)|(.*?)\s*(left|right|[lr])", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Leg:
    """One edge: its length, and the angle at the corner it leads to (or its bearing), None where it was not taken."""

    line: int
    length_mm: float
    angle_deg: float | None


@dataclass(frozen=True, kw_only=True)
class Walked:
    """A walk worked out: corners as walked and as shared out, (n, 2), and the closing error, mm and degrees."""

    raw: Floats
    corners: Floats
    closing: Floats
    closing_deg: float | None
    directions_deg: Floats

    @property
    def closing_mm(self) -> float:
        """Length of the closing error."""
        return float(np.hypot(*self.closing))


def read_walk(pasted: Pasted, unit: Unit, angles: Angles) -> tuple[Leg, ...]:
    """Read lines `length, angle`; a third field in front may name the edge.  The last angle may be left out.

    Turns are degrees, left positive, or `L 90` and `R 45.5`; raise `InputError` with the line for anything else.
    """
    legs: list[Leg] = []
    for row in pasted.rows():
        fields = row.fields
        if not legs and row.is_heading:
            continue
        fields = fields[1:] if row.is_named else fields
        if len(fields) not in (1, 2):
            row.refuse(
                f"{row.text!r} is no leg of a walk", "write the edge's length and the turn at its end, such as 1200, 90"
            )
        length = row.length(fields[0], unit)
        if not length > 0.0:
            row.refuse(f"an edge of {fields[0]}", "a length is more than 0")
        legs.append(
            Leg(line=row.line, length_mm=length, angle_deg=_angle(row, fields[1], angles) if len(fields) == 2 else None)
        )
    for leg in legs[:-1] if angles != "bearing" else legs:
        if leg.angle_deg is None:
            raise InputError(
                f"{pasted.name}, line {leg.line}: the angle is missing; only the last corner's may be left out"
            )
    if len(legs) < 3:
        raise InputError(f"{pasted.name}: {len(legs)} edges; a plate has at least three, each a line: length, angle")
    return tuple(legs)


def _angle(row: Row, text: str, angles: Angles) -> float:
    worded = _LEFT.fullmatch(text)
    if worded is None:
        return row.angle_deg(text)
    if angles != "turn":
        row.refuse(f"{text!r} is a turn", f"angles are read as {angles}; say --angles turn, or give plain degrees")
    word, number = (worded[1], worded[2]) if worded[1] else (worded[4], worded[3])
    return row.angle_deg(number) * (1.0 if word.lower().startswith("l") else -1.0)


def walk(lengths: Floats, angles_deg: Floats, angles: Angles, sense: float) -> Walked:
    """Walk the edges and share the closing error out.

    `angles_deg` holds a value a leg, or one less where the last corner's angle was not taken; `sense` is +1 for a
    walk counter-clockwise, -1 clockwise.
    """
    n = len(lengths)
    closing_deg = None
    if angles == "bearing":
        directions = 90.0 - angles_deg
    else:
        turns = angles_deg if angles == "turn" else sense * (180.0 - angles_deg)
        if len(turns) == n:
            closing_deg = float(turns.sum() - 360.0 * sense)
            turns = turns - closing_deg / n
        directions = np.concatenate([[0.0], np.cumsum(turns)[: n - 1]])
    steps = lengths[:, None] * np.column_stack([np.cos(np.radians(directions)), np.sin(np.radians(directions))])
    closing = steps.sum(axis=0)
    shared = steps - closing * (lengths / lengths.sum())[:, None]
    return Walked(
        raw=np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)]),
        corners=np.vstack([[0.0, 0.0], np.cumsum(shared, axis=0)[:-1]]),
        closing=closing,
        closing_deg=closing_deg,
        directions_deg=directions,
    )


def from_walk(
    pasted: Pasted,
    *,
    unit: Unit = "mm",
    angles: Angles = "turn",
    length_sigma_mm: float = LENGTH_SIGMA_MM,
    angle_sigma_deg: float = ANGLE_SIGMA_DEG,
    clockwise: bool = False,
) -> Captured:
    """Return the plate of a walk round its edge.

    `clockwise` is said only for inside angles; turns and bearings tell it themselves.  Raise `InputError` where the
    closing error is larger than readings of the stated quality make likely, naming the edges and corners to look at.
    """
    if not (length_sigma_mm > 0.0 and angle_sigma_deg > 0.0):
        raise InputError("lengths and angles scatter by more than 0; give --sigma and --angle-sigma as they are")
    legs = read_walk(pasted, unit, angles)
    lengths = np.array([leg.length_mm for leg in legs])
    angle = np.array([leg.angle_deg for leg in legs if leg.angle_deg is not None])
    sense = -1.0 if clockwise or (angles == "turn" and angle.sum() < 0.0) else 1.0
    found = walk(lengths, angle, angles, sense)
    slopes, sigmas = _slopes(lengths, angle, angles, sense, length_sigma_mm, angle_sigma_deg)
    likely = _likely_closing(slopes[-2:] * sigmas)
    expected = math.sqrt(float(found.closing @ np.linalg.solve(likely, found.closing)))
    limit = math.sqrt(float(chi2.ppf(_TOO_BIG, 2)))
    told = _suspect_words(legs, found)
    angle_off = found.closing_deg or 0.0
    angle_limit = 3.29 * angle_sigma_deg * math.sqrt(len(legs))
    if expected > limit or abs(angle_off) > angle_limit:
        raise InputError(
            f"{pasted.name}: {_closing_words(found, lengths)}, more than readings of {length_sigma_mm:g} mm and "
            f"{angle_sigma_deg:g} degrees make likely; {told}; measure these again"
        )
    corner_slopes = slopes[:-2] * sigmas
    scale = max(1.0, expected / math.sqrt(2.0))
    covariance = scale**2 * corner_slopes @ corner_slopes.T
    lie = best_set_up(found.corners, covariance)
    names = tuple(f"{k}" for k in range(1, len(legs) + 1))
    return Captured(
        way="edge walk",
        outer=ring([(float(x), float(y), 0.0) for x, y in found.corners], pasted.name),
        uncertainty_mm=lie.bound_mm,
        basis=f"{len(legs)} edges of {length_sigma_mm:g} mm and angles of {angle_sigma_deg:g} degrees (1 sigma), "
        f"{_closing_words(found, lengths)}; holds when the plate is laid on the table by corners {names[lie.first]} "
        f"and {names[lie.second]}",
        names=names,
        set_up_by=(names[lie.first], names[lie.second]),
        notes=(
            f"{_closing_words(found, lengths)}, shared out by the compass rule",
            *([f"if it were a mistake: {told}"] if expected > 1.0 else []),
        ),
        figures={
            "closing_x_mm": round(float(found.closing[0]), 4),
            "closing_y_mm": round(float(found.closing[1]), 4),
            "closing_mm": round(found.closing_mm, 4),
            "closing_part": None if found.closing_mm == 0.0 else round(float(lengths.sum()) / found.closing_mm),
            "closing_deg": None if found.closing_deg is None else round(found.closing_deg, 5),
            "corners": [
                {"name": n, "x_mm": round(float(x), 4), "y_mm": round(float(y), 4)}
                for n, (x, y) in zip(names, found.corners, strict=True)
            ],
        },
    )


def _closing_words(found: Walked, lengths: Floats) -> str:
    ratio = f", 1 in {lengths.sum() / found.closing_mm:.0f}" if found.closing_mm > 1e-6 else ""
    turned = "" if found.closing_deg is None else f" and {found.closing_deg:+.2f} degrees"
    return f"closing error {found.closing_mm:.1f} mm{turned} over {lengths.sum():.0f} mm{ratio}"


def _suspect_words(legs: Sequence[Leg], found: Walked) -> str:
    """Name the edge that runs along the closing error, and the corner whose turn would explain it.

    A wrong length shifts the end along its edge; a wrong turn swings it round that corner, so that start and end
    are equally far from it.
    """
    if found.closing_mm < 1e-6:
        return "nothing stands out"
    along = math.degrees(math.atan2(found.closing[1], found.closing[0]))
    off = np.abs((found.directions_deg - along + 90.0) % 180.0 - 90.0)
    told = []
    along_it = [k for k in range(len(legs)) if off[k] < min(_NEARLY_DEG, off.min() + _AS_NEARLY_DEG)]
    if along_it:
        told.append(f"the length of {_each('edge', along_it, legs)} runs along it")
    arms = found.raw[1:-1]
    across = np.degrees(
        np.arcsin(np.minimum(1.0, np.abs(arms @ found.closing) / (np.hypot(*arms.T) * found.closing_mm)))
    )
    swinging = [k for k in range(len(arms)) if across[k] < min(_NEARLY_DEG, across.min() + _AS_NEARLY_DEG)]
    if swinging:
        told.append(f"the angle at the end of {_each('edge', swinging, legs)} would swing the end that way")
    return " and ".join(told) or "no single edge or angle explains it"


def _each(word: str, which: Sequence[int], legs: Sequence[Leg]) -> str:
    return " or ".join(f"{word} {k + 1} (line {legs[k].line})" for k in which)


def _slopes(
    lengths: Floats, angle: Floats, angles: Angles, sense: float, length_sigma: float, angle_sigma: float
) -> tuple[Floats, Floats]:
    """How corners (2n rows) and closing error (2 rows) move with every reading, and the readings' deviations."""
    n = len(lengths)
    values = np.concatenate([lengths, angle])
    steps = np.concatenate([np.full(n, 1e-3), np.full(len(angle), 1e-4)])

    def both(v: Floats) -> Floats:
        found = walk(v[:n], v[n:], angles, sense)
        return np.concatenate([found.corners.ravel(), found.closing])

    columns = []
    for k, step in enumerate(steps):
        up, down = values.copy(), values.copy()
        up[k] += step
        down[k] -= step
        columns.append((both(up) - both(down)) / (2 * step))
    sigmas = np.concatenate([np.full(n, length_sigma), np.full(len(angle), angle_sigma)])
    return np.column_stack(columns), sigmas


def _likely_closing(slopes: Floats) -> Floats:
    likely: Floats = slopes @ slopes.T
    return likely + 1e-12 * np.eye(2)
