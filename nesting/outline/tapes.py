"""Tapes: distances between lettered corners, any set of them, adjusted all together."""

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any, Final

import numpy as np
from scipy.stats import chi2

from nesting.errors import InputError
from nesting.outline.bounds import best_set_up, factor
from nesting.outline.captured import Captured
from nesting.outline.network import Adjusted, Tapes, missing_tapes, suspects
from nesting.outline.pasted import Pasted
from nesting.outline.placing import figures
from nesting.outline.rings import ring
from nesting.outline.sides import Claim, claims, hope, judge, side_open, truest
from nesting.outline.spares import next_tapes
from nesting.outline.tape_words import Taped, flat_words, suspect_words, told_in, unchecked_words
from nesting.outline.taped import SIGMA_MM, Reading, Said, ordered, read_tapes
from nesting.outline.taped_holes import contours, covariance_of
from nesting.units import Unit

_TRIPLE: Final = 4.0
"""Three lengths may break the triangle rule by this many deviations: reading error; more is a mistake."""

_SLIP: Final = 50.0
"""Up to this many the other tapes, where some are spare, are asked which of the three is wrong."""

_DISAGREE: Final = 0.95


class LooseError(InputError):
    """The tapes do not hold the figure; `take_next` are tapes that would, such as `A-C`."""

    def __init__(self, message: str, take_next: Sequence[str]) -> None:
        super().__init__(message)
        self.take_next = tuple(take_next)


def from_tapes(
    pasted: Pasted,
    *,
    unit: Unit = "mm",
    sigma_mm: float = SIGMA_MM,
    said: Said | None = None,
    leave_out: Sequence[str] = (),
    spares: int = 1,
) -> tuple[Captured, Taped]:
    """Return the plate that fits tape readings best, and how it was found.

    Corners go round the edge in the order of their names, counter-clockwise as seen on the face, unless said
    otherwise; edges are straight.  `leave_out` are tapes such as `A-C` not to be used; `spares` is how many tapes to
    propose.  Raise `SideOpenError` where a side is open, `InputError` where the figure is not held, where three lengths
    make no triangle, or for anything that cannot be read.
    """
    readings, written = read_tapes(pasted, unit, sigma_mm)
    both = written.plus(said or Said())
    readings = _without(readings, leave_out, pasted.name)
    edge_names = ordered(readings, both, pasted.name)
    first_two = edge_names[:2] if not both.clockwise else (edge_names[-1], edge_names[-2])
    names = (*first_two, *(n for n in edge_names if n not in first_two), *both.base, *both.in_holes)
    number = {name: k for k, name in enumerate(names)}
    edge = tuple(number[n] for n in edge_names)
    tapes = Tapes(
        count=len(names),
        pairs=tuple((number[r.first], number[r.second]) for r in readings),
        lengths=np.array([r.length_mm for r in readings]),
        sigmas=np.array([r.sigma_mm for r in readings]),
    )
    _refuse_loose(pasted.name, names, edge, tapes)
    _refuse_impossible(pasted.name, readings, unit, spare=len(readings) - 2 * len(names) + 3)
    inner = tuple(number[n] for n in both.in_holes)
    best = _figure(pasted.name, names, edge, inner, tapes, claims(names, edge, both), unit)
    taped = replace(_taped(pasted.name, readings, names, edge, tapes, best, spares), holes=both.holes, unit=unit)
    return _captured(taped), taped


def _figure(
    source: str,
    names: Sequence[str],
    edge: Sequence[int],
    inner: Sequence[int],
    tapes: Tapes,
    said: Sequence[Claim],
    unit: Unit,
) -> Adjusted:
    """Return the one figure that fits; raise `SideOpenError` for several, `InputError` for none.

    Where a tape is misread the best of several is returned: no plate comes of it, and it names the tape.
    """
    sigma = float(tapes.sigmas.max())
    found, complete = figures(tapes, judge(edge, said, sigma, inner), hope(said, sigma))
    if len(found) < 2 and not complete:
        raise InputError(
            f"{source}: so many corners hang on two tapes that not all their sides can be tried; say some of them "
            'with --side "C D left of P Q" or --dents, or take more tapes'
        )
    if not found:
        raise InputError(
            f"{source}: no figure fits these tapes with the corners in the order {' '.join(names[k] for k in edge)} "
            "counter-clockwise and as was said of sides and dents"
            + (", and the holes on the plate" if inner else "")
            + "; check order, --clockwise, --dents and --side"
        )
    kept = truest(found, said)
    if len(kept) > 1 and not suspects(tapes, kept[0]):
        raise side_open(
            source, names, edge, tapes.pairs, [f.points for f in kept], complete=complete, inner=inner, unit=unit
        )
    return kept[0]


def _without(readings: tuple[Reading, ...], leave_out: Sequence[str], source: str) -> tuple[Reading, ...]:
    kept = readings
    for tape in leave_out:
        ends = {e.strip().upper() for e in tape.split("-")}
        fewer = tuple(r for r in kept if {r.first, r.second} != ends)
        if len(fewer) == len(kept):
            raise InputError(f"{source}: there is no tape {tape} to leave out; name it as in A-C")
        kept = fewer
    return kept


def _refuse_loose(source: str, names: Sequence[str], edge: Sequence[int], tapes: Tapes) -> None:
    missing = missing_tapes(tapes.count, tapes.pairs, edge)
    if not missing:
        return
    told = [f"{names[i]}-{names[j]}" for i, j in missing]
    others = f", then {', '.join(told[1:])}" if len(told) > 1 else ""
    raise LooseError(
        f"{source}: {len(tapes.pairs)} tapes do not hold {tapes.count} corners; {len(missing)} more "
        f"{'are' if len(missing) > 1 else 'is'} needed: take tape {told[0]}{others} (others may do as well)",
        told,
    )


def _refuse_impossible(source: str, readings: Sequence[Reading], unit: Unit, *, spare: int) -> None:
    allowed = _SLIP if spare > 0 else _TRIPLE
    by_pair: dict[frozenset[str], Reading] = {frozenset((r.first, r.second)): r for r in readings}
    corners = sorted({n for pair in by_pair for n in pair})
    for three in combinations(corners, 3):
        sides = [by_pair.get(frozenset(pair)) for pair in combinations(three, 2)]
        known = sorted((s for s in sides if s is not None), key=lambda s: -s.length_mm)
        if len(known) < 3:
            continue
        long, one, two = known
        excess = long.length_mm - one.length_mm - two.length_mm
        if excess > allowed * math.hypot(long.sigma_mm, one.sigma_mm, two.sigma_mm):
            lines = ", ".join(str(s.line) for s in sorted(known, key=lambda s: s.line))
            raise InputError(
                f"{source}, lines {lines}: no triangle {'-'.join(three)} has sides {long.tape} "
                f"{told_in(unit, long.length_mm)}, {one.tape} {told_in(unit, one.length_mm)} and {two.tape} "
                f"{told_in(unit, two.length_mm)}: the first is {told_in(unit, excess)} longer than the other two "
                "together; read these three tapes again"
            )


def _taped(
    source: str,
    readings: tuple[Reading, ...],
    names: tuple[str, ...],
    edge: tuple[int, ...],
    tapes: Tapes,
    adjusted: Adjusted,
    spares: int,
) -> Taped:
    open_pairs = combinations(range(tapes.count), 2)
    proposed = next_tapes(adjusted.points, tapes.pairs, spares, open_pairs)
    if not adjusted.steady:
        better = (
            f": take tape {names[proposed[0][0]]}-{names[proposed[0][1]]}"
            if proposed
            else "; move the base points apart"
        )
        raise InputError(f"{source}: the tapes meet so flat that some corner can swing freely{better}")
    off = adjusted.spare > 0 and adjusted.cost > float(chi2.ppf(_DISAGREE, adjusted.spare))
    return Taped(
        source=source,
        readings=readings,
        names=names,
        edge=edge,
        tapes=tapes,
        adjusted=adjusted,
        suspects=suspects(tapes, adjusted),
        scale=adjusted.spread if off else 1.0,
        take_next=proposed,
    )


def _captured(taped: Taped) -> Captured:
    edge = list(taped.edge)
    points = taped.adjusted.points[edge]
    lie = best_set_up(taped.adjusted.points[[*edge, *taped.inner]], covariance_of(taped), among=len(edge))
    names = tuple(taped.names[k] for k in edge)
    set_up = (names[lie.first], names[lie.second])
    outer = ring([(float(x), float(y), 0.0) for x, y in points], taped.source)
    # With a misread tape no plate comes of it: where a hole then seems to lie tells nothing.
    holes, misplaced = ((), []) if taped.suspects else contours(taped, outer, lie.bound_mm)
    return Captured(
        way="tapes",
        outer=outer,
        holes=holes,
        uncertainty_mm=lie.bound_mm,
        basis=f"least squares over {len(taped.readings)} tapes, {taped.adjusted.spare} of them spare; holds when the "
        f"plate is laid on the table by corners {set_up[0]} and {set_up[1]}",
        names=names,
        set_up_by=set_up,
        warnings=(*suspect_words(taped), *flat_words(taped), *unchecked_words(taped), *misplaced),
        notes=("edges between taped corners are taken as straight",),
        figures=_figures(taped),
    )


def _figures(taped: Taped) -> dict[str, Any]:
    found = taped.adjusted
    covariance = taped.scale**2 * found.covariance
    corners = []
    for k in (*taped.edge, *sorted(set(range(len(taped.names))) - set(taped.edge))):
        block = covariance[2 * k : 2 * k + 2, 2 * k : 2 * k + 2]
        corners.append(
            {
                "name": taped.names[k],
                "x_mm": round(float(found.points[k, 0]), 4),
                "y_mm": round(float(found.points[k, 1]), 4),
                "sd_x_mm": round(math.sqrt(block[0, 0]), 4),
                "sd_y_mm": round(math.sqrt(block[1, 1]), 4),
                "sd_mm": round(math.sqrt(max(np.linalg.eigvalsh(block)[-1], 0.0)), 4),
                "base": k not in taped.edge and k not in taped.inner,
                "hole": k in taped.inner,
            }
        )
    readings = [
        {
            "line": r.line,
            "tape": r.tape,
            "from": r.first,
            "to": r.second,
            "reading_mm": round(r.length_mm, 4),
            "adjusted_mm": round(r.length_mm + float(found.residuals[k]), 4),
            "residual_mm": round(float(found.residuals[k]), 4),
            "checked": round(float(found.redundancy[k]), 4),
            "test": round(float(found.tests[k]), 3),
        }
        for k, r in enumerate(taped.readings)
    ]
    named = [
        {
            "tape": taped.readings[s.reading].tape,
            "from": taped.readings[s.reading].first,
            "to": taped.readings[s.reading].second,
            "line": taped.readings[s.reading].line,
            "misread_mm": round(s.misread_mm, 2),
            "test": round(s.test, 2),
            "or": [taped.readings[k].tape for k in s.like],
        }
        for s in taped.suspects
    ]
    return {
        "corners": corners,
        "readings": readings,
        "suspects": named,
        "spare": found.spare,
        "spread": round(found.spread, 4),
        "deviation_factor": round(factor(len(taped.edge)), 3),
        "take_next": [taped.tape(p) for p in taped.take_next],
    }
