"""What came out of tape readings, and the doubts about them in words, in the unit of the readings."""

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from nesting.outline.network import Adjusted, Floats, Suspect, Tapes
from nesting.outline.taped import Reading, TapedHole
from nesting.units import Unit, from_mm

FLATTEST_DEG: Final = 30.0
"""Tapes that cross flatter than this, or nearer to straight than 180 less this, hold a corner badly."""


@dataclass(frozen=True, kw_only=True)
class Taped:
    """All that came out of tape readings; corners of `names` are in the order of `adjusted`.

    `unit` is that of the readings, in which they are told.
    """

    source: str
    readings: tuple[Reading, ...]
    names: tuple[str, ...]
    edge: tuple[int, ...]
    tapes: Tapes
    adjusted: Adjusted
    suspects: tuple[Suspect, ...]
    scale: float
    take_next: tuple[tuple[int, int], ...]
    holes: tuple[TapedHole, ...] = ()
    unit: Unit = "mm"

    @property
    def inner(self) -> tuple[int, ...]:
        """Corners and centres of holes."""
        return tuple(self.names.index(name) for hole in self.holes for name in hole.corners)

    def tape(self, pair: tuple[int, int]) -> str:
        """A pair of corners as people say it."""
        return f"{self.names[pair[0]]}-{self.names[pair[1]]}"


def told_in(unit: Unit, length_mm: float, places: int = 1) -> str:
    """A length as a tape in that unit has it: millimetres, or inches and thousandths as in the table of readings."""
    inches = unit in ("inch", "foot")
    return f"{from_mm(length_mm, 'inch'):.{places + 2}f} in" if inches else f"{length_mm:.{places}f} mm"


def suspect_words(taped: Taped) -> list[str]:
    """A warning for every tape that seems misread, or one that they disagree as a whole."""
    told = []
    for s in taped.suspects:
        reading = taped.readings[s.reading]
        others = ", ".join(taped.readings[k].tape for k in s.like)
        then = (
            f"or one of {others} is wrong instead, the tapes do not tell these apart; take them again, or one more "
            "that crosses them, and leave none out before"
            if others
            else f"take it again, or leave it out with --leave-out {reading.tape}"
        )
        told.append(
            f"line {reading.line}: tape {reading.tape} reads {told_in(taped.unit, reading.length_mm)} and does not go "
            f"with the others; likely {told_in(taped.unit, abs(s.misread_mm), 0)} too "
            f"{'long' if s.misread_mm > 0 else 'short'}; {then}"
        )
    if not told and taped.scale > 1.0:
        told.append(
            f"the tapes disagree {taped.scale:.1f} times as much as their stated deviation makes likely, and none "
            "stands out; the uncertainty is raised by that"
        )
    return told


def flat_words(taped: Taped) -> list[str]:
    """A warning for every corner whose tapes all cross flat, with the tape that would cross them best."""
    points, told = taped.adjusted.points, []
    for corner in (*taped.edge, *taped.inner):
        ends = [j if i == corner else i for i, j in taped.tapes.pairs if corner in (i, j)]
        best = max((_crossing_deg(points, corner, a, b) for a, b in combinations(ends, 2)), default=90.0)
        if best < FLATTEST_DEG:
            others = [k for k in range(len(points)) if k != corner and k not in ends]
            add = max(others, key=lambda k: max(_crossing_deg(points, corner, k, e) for e in ends), default=None)
            better = (
                f"; take tape {taped.names[corner]}-{taped.names[add]}"
                if add is not None
                else "; take it from elsewhere"
            )
            told.append(
                f"the tapes to {taped.names[corner]} cross at {best:.0f} degrees, under {FLATTEST_DEG:g}{better}"
            )
    return told


def _crossing_deg(points: Floats, corner: int, a: int, b: int) -> float:
    """Angle at which two tapes cross, 0 to 90 degrees."""
    u, v = points[a] - points[corner], points[b] - points[corner]
    return math.degrees(math.atan2(abs(u[0] * v[1] - u[1] * v[0]), abs(float(u @ v))))


def unchecked_words(taped: Taped) -> list[str]:
    """A warning of tapes that no other checks."""
    alone = [r.tape for r, share in zip(taped.readings, taped.adjusted.redundancy, strict=True) if share < 0.02]
    if not alone:
        return []
    which = "no tape is" if len(alone) == len(taped.readings) else f"tapes {', '.join(alone)} are not"
    more = f"; take tape {taped.tape(taped.take_next[0])} too" if taped.take_next else ""
    ends = [set(tape.split("-")) for tape in alone]
    there = set.intersection(*ends)
    if len(alone) > 1 and there and not (taped.take_next and there & set(taped.tape(taped.take_next[0]).split("-"))):
        more = f"; take one more tape to {min(there)}"
    return [f"{which} checked by another: a misread one would go unnoticed{more}"]
