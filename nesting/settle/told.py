"""What people and programs read of a settling: tables, sentences, one document, the points of a dry run."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from nesting.settle.document import TURN_BOUND, document
from nesting.settle.dry_run_told import dry_run_lines, dry_run_table
from nesting.settle.outcome import Outcome
from nesting.settle.table import Travel, push
from nesting.settle.verdict import verdict_lines
from nesting.settle.wording import length, shown
from nesting.units import Unit, from_mm

Table = tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]


@dataclass(frozen=True, kw_only=True)
class Told:
    """`tables`, `lines` and `dry_run` are the result for people, `warnings` what they should not miss, `refused` why
    nothing may be written.
    """

    title: str
    tables: tuple[Table, ...]
    lines: tuple[str, ...]
    dry_run: tuple[str, ...]
    warnings: tuple[str, ...]
    refused: tuple[str, ...]
    document: dict[str, Any]
    dry_run_text: str
    dry_run_table: str


def told(outcome: Outcome) -> Told:
    """Return all that is to be said."""
    unit = outcome.choices.unit
    pose = outcome.settled.pose
    warnings, refused = tuple(_warnings(outcome, unit)), tuple(_refused(outcome, unit))
    title = f"{outcome.source.plate.name}: turned by {pose.turn_deg:.2f} degrees on the table"
    if outcome.layout is not None:
        title += f", layout {outcome.layout.id}"
    return Told(
        title=title,
        tables=(_corner_table(outcome, unit), _distance_table(outcome, unit)),
        lines=tuple(_lines(outcome, unit)),
        dry_run=tuple(dry_run_lines(outcome)),
        warnings=warnings,
        refused=refused,
        document={**document(outcome), "warnings": list(warnings), "refused": list(refused)},
        dry_run_text="\n".join(dry_run_lines(outcome)) + "\n",
        dry_run_table=dry_run_table(outcome),
    )


def _corner_table(outcome: Outcome, unit: Unit) -> Table:
    rows = tuple(
        (
            c.name,
            shown(c.stored[0], unit),
            shown(c.stored[1], unit),
            shown(c.at[0], unit),
            shown(c.at[1], unit),
            f"{from_mm(c.residual_mm, unit):.{2 if unit == 'mm' else 3}f}",
        )
        for c in outcome.settled.corners
    )
    return (("corner", f"drawing x {unit}", "drawing y", f"table x {unit}", "table y", f"residual {unit}"), rows)


def _distance_table(outcome: Outcome, unit: Unit) -> Table:
    rows = tuple(
        (
            f"{d.start}-{d.end}",
            shown(d.stored_mm, unit),
            shown(d.measured_mm, unit),
            shown(d.off_mm, unit, sign=True),
            shown(d.allowed_mm, unit),
            "" if d.holds else "does not hold",
        )
        for d in outcome.settled.distances
    )
    return (("distance", f"drawing {unit}", f"readouts {unit}", "off", "allowed", ""), rows)


def _lines(outcome: Outcome, unit: Unit) -> Iterator[str]:
    settled = outcome.settled
    yield from verdict_lines(settled, unit)
    if outcome.layout is None:
        return
    pose, spread = settled.pose, settled.spread
    yield (
        f"turn {pose.turn_deg:.4f} degrees, right within {TURN_BOUND * spread.turn_sd_deg:.3f} (95 % bound); the "
        f"drawing's zero lies at ({shown(pose.x_mm, unit)}, {shown(pose.y_mm, unit)}) {unit}"
    )
    yield from _margin_lines(outcome, unit)
    yield from _travel_lines(outcome, unit)


def _margin_lines(outcome: Outcome, unit: Unit) -> Iterator[str]:
    use, layout = outcome.use, outcome.layout
    if use is None and layout is not None:
        yield (
            f"laid out anew on the plate as it lies, {length(outcome.added_mm, unit)} farther from its edge for what "
            f"turn and shift add: {len(layout.placements)} parts placed"
        )
        for missing in layout.left_over:
            yield f"left over: {missing.count} x {layout.parts[missing.part_id].name}: {missing.reason}"
    if use is None:
        return
    far = use.farthest
    where = f"part {far.number} ({far.name})" if far.number else "the plate's edge"
    yield (
        f"farthest place, {where}: right within {length(far.bound_mm, unit)} (95 % bound; one standard deviation "
        f"{from_mm(far.sd_mm, unit):.2f})"
    )
    left = (
        "" if use.clear_mm is None else f"; the closest part has {length(use.clear_mm, unit)} to the edge left for it"
    )
    yield f"adds {length(use.added_mm, unit)} to the outline's {length(use.outline_mm, unit)}{left}"


def _travel_lines(outcome: Outcome, unit: Unit) -> Iterator[str]:
    travel = outcome.choices.travel
    if travel is None:
        yield "table: its travel is not known, nothing was compared with it; give --table, or table in the shop file"
        return
    yield f"table: {_table_words(travel, unit)}; {outcome.choices.travel_source}"
    if not outcome.beyond:
        yield "all cuts lie within the travel"
    for over in outcome.plate_beyond:
        yield (
            f"note: the plate reaches {length(over.by_mm, unit)} past the {over.side} end of the travel: it must "
            "lie firm there, and clear of the gantry"
        )


def _table_words(travel: Travel, unit: Unit) -> str:
    where = "in its middle" if travel.zero == "middle" else f"at its {travel.zero.replace('-', ' ')} corner"
    return f"travels {shown(travel.width_mm, unit)} x {length(travel.height_mm, unit)}, zero {where}"


def _warnings(outcome: Outcome, unit: Unit) -> Iterator[str]:
    settled = outcome.settled
    if outcome.layout is None:
        return
    if settled.verdict != "fits":
        more = f"read out {settled.ask_for} too, or " if settled.ask_for else ""
        yield f"{settled.verdict}: {more}dry-run every corner before the first cut"
    for rival in settled.symmetries:
        if rival.unlike:
            yield (
                f"{rival.words}, the plate has the same outline, but not {' and '.join(rival.unlike)}: no corner "
                "tells; read out a point of one too, by the drawing's coordinates, or compare with the picture"
            )
            break
    missing = [name for name in outcome.laid_by if name not in {c.name for c in settled.corners}]
    if missing:
        yield (
            f"the outline's uncertainty of {length(outcome.source.plate.uncertainty_mm, unit)} holds for a plate "
            f"laid by corners {' and '.join(outcome.laid_by)}; read out {' and '.join(missing)} too"
        )
    if outcome.better is not None:
        yield (
            f"the corners read out lie close together: by {outcome.better.first} and {outcome.better.second}, "
            f"{length(outcome.better.apart_mm, unit)} apart, the farthest place would be right within "
            f"{length(outcome.better.bound_mm, unit)}"
        )
    if outcome.use is not None and outcome.use.parts_stay and not outcome.use.cuts_stay:
        yield (
            f"with {length(outcome.use.added_mm, unit)} more, a cut of {length(outcome.use.kerf_mm, unit)} may "
            "break out of the plate's edge; read out more corners, far apart, or nest again"
        )
    yield from outcome.leads.findings


def _refused(outcome: Outcome, unit: Unit) -> Iterator[str]:
    if outcome.layout is None:
        yield from verdict_lines(outcome.settled, unit)
        return
    if outcome.use is not None and not outcome.use.parts_stay:
        yield (
            f"parts could leave the plate: turn and shift add {length(outcome.use.added_mm, unit)} to the outline's "
            f"uncertainty, and the closest part has {length(outcome.use.clear_mm or 0.0, unit)}; read out more "
            "corners, far apart, or lay the parts out anew with --nest-again"
        )
    travel = outcome.choices.travel
    if travel is None or not outcome.beyond or outcome.cuts is None:
        return
    for over in outcome.beyond:
        yield (
            f"{over.what}: its cuts reach {length(over.by_mm, unit)} past the {over.side} end of the travel, to "
            f"({shown(over.at[0], unit)}, {shown(over.at[1], unit)}) {unit}"
        )
    way = push(outcome.cuts, travel)
    if way is None:
        yield "no push brings all cuts within the travel as the plate is turned; turn it, or use --nest-again"
    else:
        x, y = way
        ways = [
            f"{length(abs(v), unit)} {word}"
            for v, word in ((x, "right" if x > 0 else "left"), (y, "up" if y > 0 else "down"))
            if v
        ]
        yield f"push the plate {' and '.join(ways)} and read the corners out again, or use --nest-again"
