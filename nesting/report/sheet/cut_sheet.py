"""What the cut sheet of one plate says, as texts ready for paper, the same for PDF and HTML."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from nesting.corner_names import named_corners
from nesting.drawing.cut_order import CutOrder
from nesting.layout import Layout
from nesting.report.cautions import Caution
from nesting.report.facts import PartRow, RemnantRow, YieldReport
from nesting.report.sheet.steps import (
    Corners,
    TapeLine,
    bought_size,
    laid_by,
    steps_on_table,
    steps_to_zero,
    tape_lines,
    zero_corner,
)
from nesting.report.sheet.words import Lengths, runs, shortened
from nesting.report.tables import PartsTotal, parts_table
from nesting.report.wording import UNKNOWN, Measure, duration, in_unit, measures

Pairs = tuple[tuple[str, str], ...]

TICK: Final = "☐"
HEAVY: Final = "▲"
MOST_TICKS: Final = 8
"""With more pieces of a part than this they are counted, not ticked one by one."""

LONG_LIST: Final = 12
"""A list of more parts than this does not fit the front: its rows are kept low, and what is short stands before it."""

SHORT_HASH: Final = 8
HASH_NOTE: Final = (
    f"The {SHORT_HASH} letters behind a drawing's name begin the SHA-256 of its bytes: changed since, it has others."
)
FINISHED_SIZE: Final = "Drawing is finished size: the controller offsets the kerf."
ORDER_NOTE: Final = "numbers of the picture; of each part the holes first"
DRY_RUN: Final = "Check by dry run along the outline, torch off."
_LAID_BY: Final = ", to be laid on the table by its corners at "
"""So a plate file's way ends where it names places; the sheet has letters for them, in its steps."""

_NOT_AT_THE_TABLE: Final = ("tight bend", "bend along the grain", "grain not known")
_MOST_BY_HAND: Final = 8
"""More is for the report: a list to work by is short."""

_TAPE_MM: Final = 1.0
"""How far one reading of a tape between two corners may be off: common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class PartLine:
    """A part of the list; `mass` is of one piece, `heavy` that it is above the hand-lift figure."""

    ticks: str
    numbers: str
    name: str
    details: str
    size: str
    pieces: str
    mass: str
    heavy: bool


@dataclass(frozen=True, kw_only=True)
class KeptLine:
    """A leftover to keep: what is chalked on it and how it is known again."""

    name: str
    chalk: str
    size: str
    mass: str
    heavy: bool


@dataclass(frozen=True, kw_only=True)
class CutSheet:
    """One plate's sheet; pairs are labels with their values, `spoken_of` the corners that its texts name."""

    title: str
    plate: str
    layout_id: str
    shop: str
    material: Pairs
    work: Pairs
    corners: Corners
    zero_corner: str | None
    spoken_of: frozenset[str]
    tapes: tuple[TapeLine, ...]
    stop: str
    steps: tuple[str, ...]
    warning: str
    parts: tuple[PartLine, ...]
    long: bool
    total_pieces: str
    total_mass: str
    mass_unit: str
    length_unit: str
    left_over: tuple[str, ...]
    by_hand: tuple[str, ...]
    order: str
    order_note: str
    kept: tuple[KeptLine, ...]
    time_note: str
    outline: tuple[str, ...]
    plate_file: Pairs
    clearances: Pairs
    lift_note: str
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]


def cut_sheet(
    layout: Layout,
    report: YieldReport,
    order: CutOrder,
    *,
    title: str,
    lengths: Lengths,
    rack_ids: Mapping[str, str] | None = None,
    on_table: bool = False,
) -> CutSheet:
    """Return the sheet of a layout.

    `rack_ids` are what leftovers are called on the rack, by their names R1, R2; `on_table` says that the layout is in
    the table's own coordinates, so that no zero may be set.
    """
    m = measures(lengths.unit)
    _, totals = parts_table(report, lengths.unit)
    corners = tuple((c.name, c.point) for c in named_corners(layout.plate))
    tapes = tape_lines(layout, corners, lengths)
    turned_over = {p.number for p in layout.placements if p.pose.flipped}
    references = {d.part.id: d.reference for d in layout.demands}
    return CutSheet(
        title=title,
        plate=report.plate.name,
        layout_id=report.layout_id,
        shop=report.shop,
        material=_material(layout, report, lengths, m["mass"]),
        work=_work(layout, report, lengths, totals),
        corners=corners,
        zero_corner=zero_corner(corners)[0] if corners and not on_table else None,
        spoken_of=frozenset(name for t in tapes for name in (t.start, t.end))
        | frozenset(name for name, _ in (laid_by(layout, corners) if corners else ())),
        tapes=tapes,
        stop=_stop(layout, lengths),
        steps=steps_on_table(layout, corners, lengths) if on_table else steps_to_zero(layout, corners, order, lengths),
        warning=f"{FINISHED_SIZE} {DRY_RUN}",
        parts=tuple(
            _part_line(r, references.get(r.part_id), turned_over, lengths, m["mass"]) for r in report.parts if r.placed
        ),
        long=sum(r.placed > 0 for r in report.parts) > LONG_LIST,
        total_pieces=str(totals.placed),
        total_mass=totals.mass,
        mass_unit=m["mass"].unit,
        length_unit=lengths.sign,
        left_over=tuple(f"{x.count} x {x.name}: {x.reason}" for x in report.left_over),
        by_hand=_by_hand(report, lengths),
        order=runs([cut.number for cut in order.cuts if cut.contour == 0], " → "),
        order_note=ORDER_NOTE,
        kept=tuple(_kept_line(r, layout, rack_ids or {}, lengths, m["mass"]) for r in report.remnants),
        time_note=f"Time by {in_unit(report.cutting_note, lengths.unit)}; no leads, rapids or handling.",
        outline=_outline(layout, lengths),
        plate_file=_plate_file(layout, report),
        clearances=tuple((c.label, f"{lengths.fine(c.value_mm)} ({c.source})") for c in report.clearances),
        lift_note=_lift_note(report, m["mass"]),
        notes=(HASH_NOTE, report.density_note),
        cautions=report.cautions,
    )


def _stop(layout: Layout, lengths: Lengths) -> str:
    """When not to cut: a bought sheet may be larger than drawn, since all parts then still lie on it."""
    limit, size = lengths.text(2 * layout.plate.uncertainty_mm + _TAPE_MM), bought_size(layout.plate)
    if size is None:
        return f"Stop if one is off by more than {limit}: another plate, or a wrong outline."
    return (
        f"Tape the edges too. Stop if a length is short by more than {limit}, or the diagonals differ by more than "
        f"{lengths.text(2 * _TAPE_MM)}; larger than {lengths.size(size)} does no harm."
    )


def _by_hand(report: YieldReport, lengths: Lengths) -> tuple[str, ...]:
    """What may not come out of the cut as drawn, of the parts that lie here; bends are made elsewhere."""
    placed = {r.part_id for r in report.parts if r.placed}
    found = [
        f"{shortened(f.name)}: {in_unit(f.message, lengths.unit)}"
        for f in report.fit
        if f.severity == "warning" and f.kind not in _NOT_AT_THE_TABLE and f.part_id in placed
    ]
    more = len(found) - _MOST_BY_HAND
    return (*found[:_MOST_BY_HAND], *((f"and {more} more, see the report",) if more > 0 else ()))


def _material(layout: Layout, report: YieldReport, lengths: Lengths, mass: Measure) -> Pairs:
    plate = layout.plate
    heavy = report.plate.mass_kg is not None and report.plate.mass_kg > report.lift_limit_kg
    weight = UNKNOWN if report.plate.mass_kg is None else f"{report.plate.mass_kg / mass.size:.1f} {mass.unit}"
    return (
        ("thickness", lengths.fine(plate.thickness_mm)),
        ("grade", plate.grade or UNKNOWN),
        ("heat", plate.heat or UNKNOWN),
        ("certificate", plate.certificate or UNKNOWN),
        ("whole plate", f"{HEAVY} {weight}" if heavy else weight),
        ("place", plate.place or UNKNOWN),
    )


def _work(layout: Layout, report: YieldReport, lengths: Lengths, totals: PartsTotal) -> Pairs:
    m = measures(lengths.unit)
    return (
        ("pieces", str(totals.placed)),
        ("mass of all", f"{totals.mass} {m['mass'].unit}" if totals.mass != UNKNOWN else UNKNOWN),
        ("pierces", str(totals.pierces)),
        ("cut length", lengths.long(report.figure("cut_length").value)),
        ("estimated time", duration(report.figure("cut_time").value)),
        ("kerf taken", lengths.fine(layout.clearances.kerf_mm)),
    )


def _part_line(row: PartRow, reference: str | None, turned_over: set[int], lengths: Lengths, mass: Measure) -> PartLine:
    ticks = TICK * row.placed if row.placed <= MOST_TICKS else f"{TICK} ____ / {row.placed}"
    told = [f"order {reference}" if reference else "", row.source]
    if row.source_sha256:
        told.append(row.source_sha256[:SHORT_HASH])
    flipped = sorted(turned_over & set(row.numbers))
    if flipped:
        told.append(f"turned over: {runs(flipped)}")
    return PartLine(
        ticks=ticks,
        numbers=runs(sorted(row.numbers)),
        name=shortened(row.name),
        details=" · ".join(shortened(text) for text in told if text),
        size=lengths.size((row.width_mm, row.height_mm)),
        pieces=str(row.placed) if row.wanted in (None, row.placed) else f"{row.placed} of {row.wanted}",
        mass=mass.text(mass.shown(row.mass_kg)),
        heavy=bool(row.above_lift_limit),
    )


def _kept_line(
    row: RemnantRow, layout: Layout, rack_ids: Mapping[str, str], lengths: Lengths, mass: Measure
) -> KeptLine:
    plate, name = layout.plate, rack_ids.get(row.label, row.label)
    thickness = "" if plate.thickness_mm is None else lengths.fine(plate.thickness_mm)
    return KeptLine(
        name=row.label,
        chalk=" · ".join(
            shortened(text) for text in (name, thickness, plate.grade, plate.heat and f"heat {plate.heat}") if text
        ),
        size=lengths.size(row.rectangle_mm, down=True),
        mass=mass.text(mass.shown(row.mass_kg)),
        heavy=bool(row.above_lift_limit),
    )


def _outline(layout: Layout, lengths: Lengths) -> tuple[str, ...]:
    """How the outline came in and how far it may be wrong; who took it, when, with which picture, if it is said."""
    plate, capture = layout.plate, layout.plate.capture
    lines = [
        f"Outline by {in_unit(plate.captured.partition(_LAID_BY)[0], lengths.unit)}, "
        f"uncertain by {lengths.fine(plate.uncertainty_mm)}, which is kept clear besides the margin."
    ]
    if capture is not None:
        when = "" if capture.when is None else capture.when.isoformat()
        said = (("by", capture.who), ("on", when), ("photo", capture.photo))
        told = ", ".join(f"{word} {value}" for word, value in said if value)
        lines += [f"Measured {told}."] if told else []
    return tuple(lines)


def _plate_file(layout: Layout, report: YieldReport) -> Pairs:
    hashes = [d.sha256 for d in report.drawings if d.role == "plate"]
    return (
        ("file", layout.plate.source or "none"),
        ("state", _revision(hashes[0] if hashes else "")),
        ("cut from", layout.plate.parent or UNKNOWN),
    )


def _revision(sha256: str) -> str:
    """What tells one state of a drawing from another: the beginning of the hash of its bytes."""
    return f"sha256 {sha256[:SHORT_HASH]}" if sha256 else "not known"


def _lift_note(report: YieldReport, mass: Measure) -> str:
    limit = f"{report.lift_limit_kg / mass.size:.4g} {mass.unit}"
    return f"{HEAVY} above the hand-lift figure of {limit}: hoist or more hands"
