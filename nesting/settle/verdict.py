"""The verdict on readouts in plain words: what they prove, what they leave open, what to do."""

from collections.abc import Iterator, Sequence

from nesting.settle.rivals import Rival
from nesting.settle.settling import Settled
from nesting.settle.wording import length, shown
from nesting.units import Unit

_MOST_TOLD = 3


def verdict_lines(settled: Settled, unit: Unit) -> Iterator[str]:
    """Say what came out, one sentence a line."""
    if settled.verdict == "does not fit":
        yield from _misfit(settled, unit)
        return
    names = ", ".join(c.name for c in settled.corners)
    if settled.verdict == "fits":
        side = "" if any(r.mirrored for r in settled.symmetries) else ", right side up"
        yield f"fits: {names} lie as the drawing has them{side}"
    elif settled.verdict == "distance only":
        yield from _distance_only(settled, unit)
    else:
        yield f"cannot be told apart: {names} fit, and so do other corners: {_told(settled, settled.open)}"
    if settled.ask_for is not None:
        yield f"read out corner {settled.ask_for} too: it tells best right side up, and which corner is which"
    elif settled.verdict == "distance only" and len(settled.universe.names) == len(settled.corners):
        yield "read out one more point, well off their line, by its coordinates in the drawing"
    elif settled.open:
        most = max(r.differs_mm for r in settled.open)
        yield (
            f"no other corner of this plate tells: its outline so moved is off by up to {length(most, unit)}; only the "
            "dry run and a look at the plate do"
        )
    if settled.symmetries:
        yield (
            f"the plate fits itself: {_told(settled, settled.symmetries)}; that is no fault, the parts lie on steel "
            "either way"
        )


def _distance_only(settled: Settled, unit: Unit) -> Iterator[str]:
    if len(settled.corners) == 2:
        (d,) = settled.distances
        off = f"{length(abs(d.off_mm), unit)} off the drawing's"
        yield (
            f"distance only: two corners prove how far apart they are and no more: {d.start}-{d.end} is "
            f"{length(d.measured_mm, unit)}, {off}, {length(d.allowed_mm, unit)} allowed"
        )
        yield "swapped, or with the plate wrong side up, they would fit as well"
        return
    yield (
        f"distance only: the corners read out lie nearly on one line ({length(settled.off_line_mm, unit)} off it): "
        "with the plate wrong side up they would fit as well"
    )


def _misfit(settled: Settled, unit: Unit) -> Iterator[str]:
    broken = [d for d in settled.distances if not d.holds]
    if broken:
        told = "; ".join(
            f"{d.start}-{d.end} is {length(d.measured_mm, unit)} by the readouts and {length(d.stored_mm, unit)} in "
            f"the drawing, {length(abs(d.off_mm), unit)} off, {length(d.allowed_mm, unit)} allowed"
            for d in broken[:_MOST_TOLD]
        )
        yield f"does not fit: {told}"
    else:
        yield "does not fit: every distance holds, and the corners do not lie to one another as in the drawing"
    if settled.hint:
        yield settled.hint
        return
    if settled.explained:
        yield from _explained(settled)
    elif len(settled.suspects) == 1:
        (one,) = settled.suspects
        x, y = (shown(v, unit) for v in one.expected)
        yield (
            f"suspect: {one.name}: without it the others fit, and it should then be read at ({x}, {y}) {unit}, "
            f"{length(one.off_mm, unit)} from where it was"
        )
    elif settled.suspects:
        names = " or ".join(s.name for s in settled.suspects)
        yield f"suspects: {names}: without either the others fit; read these out again, or one corner more to tell"
    else:
        yield "no single corner explains it: another plate, or more than one corner mistaken; read all out again"
        if settled.allowance.uncertainty_mm == 0.0:
            yield (
                "the outline is taken as exact: if it was measured, or is a sheet by its nominal size, nest with "
                "--uncertainty, or state --limit here"
            )


def _explained(settled: Settled) -> Iterator[str]:
    best = settled.explained[0]
    said = [c.name for c in settled.corners]
    read_as = [settled.universe.names[k] for k in best.corners]
    changed = [(a, b) for a, b in zip(said, read_as, strict=True) if a != b]
    swapped = len(changed) == 2 and changed[0] == changed[1][::-1]
    side = "the plate wrong side up" if best.mirrored else ""
    if not changed:
        yield "it would fit with the plate wrong side up: turn it over, or mirror the plate file and nest again"
    elif swapped:
        yield f"it would fit with {changed[0][0]} and {changed[0][1]} swapped{' and ' + side if side else ''}"
    else:
        yield f"it would fit read as {', '.join(read_as)}{' with ' + side if side else ''}"
    if len(settled.explained) > 1:
        yield f"and in {len(settled.explained) - 1} more ways"


def _told(settled: Settled, found: Sequence[Rival]) -> str:
    told = [f"{r.words} (read as {settled.read_as(r)})" for r in found[:_MOST_TOLD]]
    more = len(found) - len(told)
    return ", ".join(told) + (f" and {more} more" if more > 0 else "")
