"""What was really cut of a layout: the piece is used up and what is left of it comes back to the rack, at once."""

import json
import re
import shlex
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final

import shapely

from nesting.errors import InputError
from nesting.files.layout_file import load_layout
from nesting.files.plate_file import CaptureEntry
from nesting.files.release import LAYOUT, MADE_WITH
from nesting.geometry.pose import Point, Pose
from nesting.layout import Layout, Placement
from nesting.outline.leftover import Leftover, NothingLeftError, Shear, from_layout
from nesting.plate import Plate
from nesting.rack.piece import CutPart, NewPiece, RackPiece
from nesting.rack.store import NewCut, Rack
from nesting.remnant import balance
from nesting.report.figures import figures
from nesting.report.sheet.steps import bought_size
from nesting.settle.rigid import fit
from nesting.settle.turned import turned, turned_plate
from nesting.shop import Shop
from nesting.steps.made_with import load_made_with
from nesting.steps.racking import capture_json
from nesting.steps.yielding import PLAN

REPORT: Final = "report.json"
SAME_SHAPE: Final = 1e-6
"""Two outlines are the same if what lies in one alone is at most this share of the area: rounding in plate files."""

_MOST_FIGURES: Final = 5
"""No layout has as many parts as five figures can count."""

_NUMBERS: Final = re.compile(r"[Pp]?(\d+)(?:\s*-\s*[Pp]?(\d+))?")


@dataclass(frozen=True, kw_only=True)
class Cutting:
    """A layout as it was saved, and what became of its parts; numbers are those chalked on them."""

    layout: Layout
    layout_json: str
    yield_json: str | None = None
    failed: frozenset[int] = frozenset()
    not_reached: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        known = {p.number for p in self.layout.placements}
        for number in sorted((self.failed | self.not_reached) - known):
            raise InputError(f"P{number}: the layout has no such part; it has {_span(known)}")
        for number in sorted(self.failed & self.not_reached):
            raise InputError(f"P{number}: cannot have failed and not have been reached; say one of them")
        if known and self.not_reached == known:
            raise InputError("no part was reached: nothing was cut, so there is nothing to record")

    @property
    def cut(self) -> Layout:
        """The layout with only what was cut, failed parts too: they are out of the plate."""
        kept = tuple(p for p in self.layout.placements if p.number not in self.not_reached)
        return replace(self.layout, placements=kept)

    def parts(self, which: str) -> tuple[CutPart, ...]:
        """Return the parts that were "made", "failed" or "not reached"."""
        return tuple(self._part(p) for p in self.layout.placements if self._fate(p) == which)

    def _fate(self, placement: Placement) -> str:
        if placement.number in self.failed:
            return "failed"
        return "not reached" if placement.number in self.not_reached else "made"

    def _part(self, placement: Placement) -> CutPart:
        return CutPart(
            number=placement.number,
            part_id=placement.part_id,
            name=self.layout.parts[placement.part_id].name,
        )


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """The piece that was used up, what came back of it, and what to know of that."""

    piece: RackPiece
    remnants: tuple[RackPiece, ...]
    cut: NewCut
    notes: tuple[str, ...]


def read_cutting(path: Path, *, failed: Sequence[str] = (), not_reached: Sequence[str] = ()) -> Cutting:
    """Read a layout, or the one in a result folder, with its report where that lies beside it."""
    file = _layout_in(path) if path.is_dir() else path
    layout = load_layout(file)
    return Cutting(
        layout=layout,
        layout_json=file.read_text(encoding="utf-8-sig"),
        yield_json=_report(file.with_name(REPORT), layout.id) or _worked_out(layout, file.with_name(MADE_WITH)),
        failed=frozenset(numbers(failed)),
        not_reached=frozenset(numbers(not_reached)),
    )


def _layout_in(folder: Path) -> Path:
    """Return the layout of a result folder; raise `InputError` for the folder of a plan, which holds one a piece."""
    found = sorted(file.parent for file in folder.glob(f"*/{LAYOUT}"))
    if not (folder / LAYOUT).exists() and (folder / PLAN).exists():
        such = f", such as {found[0]}" if found else ""
        raise InputError(f"{folder}: is the folder of a plan; give the folder of the one piece that was cut{such}")
    return folder / LAYOUT


def numbers(texts: Iterable[str]) -> list[int]:
    """Read part numbers as they are chalked or typed: `P3`, `3,5`, `P7-P9`."""
    found: list[int] = []
    for text in texts:
        for one in re.split(r"[,;\s]+", re.sub(r"\s*-\s*", "-", text.strip())):
            match = _NUMBERS.fullmatch(one)
            if match is None:
                raise InputError(f"{one!r} is no part of a layout; write its number, such as P3, 3,5 or P7-P9")
            first, last = match[1], match[2] or match[1]
            if max(len(first), len(last)) > _MOST_FIGURES or int(last) < int(first):
                raise InputError(f"{one!r} is no run of parts; write the lower number first, such as P7-P9")
            found += range(int(first), int(last) + 1)
    return found


def record_cut(
    rack: Rack,
    cutting: Cutting,
    shop: Shop,
    *,
    who: str,
    piece: str | None = None,
    place: str | None = None,
    note: str = "",
    shears: Sequence[Shear] = (),
    notch_mm: float | None = None,
    today: date | None = None,
) -> Recorded:
    """Record what was cut of a layout, in one transaction.

    The piece is the one that the layout's plate is named by, unless said.  What is known of it goes to each remnant;
    a part that was not reached leaves its place in one.  Raises `InputError` where the layout was made for another
    outline, `RackError` where the piece is not there to be cut.  A layout that was settled on the table since goes back
    to where the piece is drawn, `shears` with it: what the rack knows of the piece, such as its grain, holds there.
    """
    used, back = piece_of_layout(rack, cutting.layout, piece)
    if back is not None:
        cutting = replace(cutting, layout=replace(turned(cutting.layout, back), id=cutting.layout.id))
        shears = [(back.point(a), back.point(b)) for a, b in shears]
    left, notes = _left(cutting.cut, shop, shears, notch_mm)
    plates = left.plates if left else ()
    capture = CaptureEntry(
        way="leftover of a layout",
        basis=f"layout {cutting.layout.id}",
        who=who,
        when=today,
        notes=left.notes if left else (),
    )
    came = [_remnant(used, plate, f"{used.id}-R{k}", capture, place) for k, plate in enumerate(plates, start=1)]
    cut = NewCut(
        layout_id=cutting.layout.id,
        layout_json=cutting.layout_json,
        yield_json=cutting.yield_json,
        made=cutting.parts("made"),
        failed=cutting.parts("failed"),
        not_reached=cutting.parts("not reached"),
        areas=left.figures if left else _areas(cutting.cut, shop, shears),
    )
    gone, remnants = rack.cut(used.id, cut, came, who=who, note=note, known=used.facts)
    if used.set_aside_for:
        notes = (*notes, f"{used.id} was set aside for {used.set_aside_for}")
    return Recorded(piece=gone, remnants=tuple(remnants), cut=cut, notes=notes)


def piece_of_layout(rack: Rack, layout: Layout, id: str | None) -> tuple[RackPiece, Pose | None]:
    """Return the piece that a layout was made for, and the pose from the table back to its drawing if it was settled.

    Raise `InputError` where the piece is not known or has another outline.
    """
    try:
        found = rack.piece(id or layout.plate.name)
    except InputError as error:
        if id is not None:
            raise
        bought = bought_size(layout.plate)
        told = "say which piece was cut with --piece ID" if bought is None else _add_first(layout.plate, bought)
        raise InputError(f"layout {layout.id} lies on plate {layout.plate.name!r}: {error}; {told}") from None
    if _same_shape(found.plate, layout.plate):
        return found, None
    back = _pose_back(layout.plate, found.plate)
    if back is None:
        raise InputError(
            f"layout {layout.id} was made for another outline than that of {found.id}: "
            f"{_apart(layout.plate, found.plate)}; name the right piece with --piece, or lay out again"
        )
    return found, back


def _add_first(plate: Plate, size_mm: tuple[float, float]) -> str:
    """Say how a sheet bought for a layout comes to the rack, so that its heat goes over to what is left of it."""
    known = [f"--thickness {plate.thickness_mm:g}mm"] if plate.thickness_mm is not None else []
    known += [f"--grade {shlex.quote(plate.grade)}"] if plate.grade else []
    size = "x".join(f"{side:.10g}" for side in size_mm)
    return (
        "a bought sheet that is not on the rack yet goes there first: "
        f"'oddplate rack add {size} --units mm {' '.join([*known, '--heat HEAT', '--id NEW1'])}' with the size it was "
        "laid out for, then record the cut with --piece NEW1; for a piece of the rack say its id, --piece ID"
    )


def _apart(lies: Plate, drawn: Plate) -> str:
    """Say by what two outlines differ: their areas, unless these are told as the same figure."""
    areas = [f"{plate.area_mm2:.0f} mm2" for plate in (lies, drawn)]
    if areas[0] != areas[1]:
        return " against ".join(areas)
    return f"both have {areas[0]}, and their corners do not lie on one another"


def _pose_back(lies: Plate, drawn: Plate) -> Pose | None:
    """Return the pose that takes a plate as it lies to its drawing, corner by corner; None for another plate."""
    here, there = _starts(lies), _starts(drawn)
    if len(here) != len(there) or len(here) < 2:
        return None
    pose = fit(here, there).pose
    return pose if _same_shape(turned_plate(lies, pose), drawn) else None


def _starts(plate: Plate) -> list[Point]:
    """Starts of the edges of what is plate; keep-outs are a job's own as often as the piece's, and move no steel."""
    return [curve.start for contour in (plate.outer, *plate.holes) for curve in contour.curves]


def _same_shape(a: Plate, b: Plate) -> bool:
    apart: float = shapely.symmetric_difference(a.fine_polygon, b.fine_polygon).area
    return apart <= SAME_SHAPE * max(a.area_mm2, b.area_mm2)


def _left(
    layout: Layout, shop: Shop, shears: Sequence[Shear], notch_mm: float | None
) -> tuple[Leftover | None, tuple[str, ...]]:
    try:
        found = from_layout(layout, shop, shears=shears, notch_mm=notch_mm)
    except NothingLeftError as error:
        return None, (f"nothing comes back to the rack: {error}",)
    return found, found.notes


def _areas(layout: Layout, shop: Shop, shears: Sequence[Shear]) -> dict[str, float]:
    return Leftover(plates=(), areas=balance(layout, shop, shears=shears), notes=()).figures


def _remnant(used: RackPiece, plate: Plate, name: str, capture: CaptureEntry, place: str | None) -> NewPiece:
    """Return a remnant with all that the rack knows of its parent, which may be more than the layout knew."""
    facts = replace(
        used.facts,
        name=name,
        place=place or used.facts.place,
        photo=None,
        note="",
        weighed_kg=None,
        valued="as remnant",
        own_value=None,
    )
    return NewPiece.of(plate, facts, capture=capture_json(capture))


def _report(path: Path, layout_id: str) -> str | None:
    """Return the report beside a layout if it is of the same layout."""
    try:
        text = path.read_text(encoding="utf-8")
        return text if json.loads(text).get("layout_id") == layout_id else None
    except (OSError, ValueError, AttributeError):
        return None


def _worked_out(layout: Layout, made_with: Path) -> str | None:
    """Return the report of a layout that came without one, as a settled one does, for the shop it was made with."""
    made = load_made_with(made_with, layout.id)
    if made is None:
        return None
    return json.dumps(figures(layout, made.shop).as_json(), ensure_ascii=False, allow_nan=False)


def _span(known: set[int]) -> str:
    if len(known) < 2:
        return f"only P{min(known)}" if known else "none"
    return f"P{min(known)} to P{max(known)}"
