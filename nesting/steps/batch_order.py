"""An order resolved: drawings read, stock gathered with what each piece is worth, every doubt settled or refused."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import shapely

from nesting.batch.stock import SAME_THICKNESS_MM, Batch, Line, StockPiece
from nesting.errors import InputError, JobError
from nesting.files.batch_file import MOST_SHEETS, LineEntry, PieceEntry, SheetEntry, WrittenOrder
from nesting.files.job import PlateEntry
from nesting.geometry.largest import largest_rectangle
from nesting.plate import Plate
from nesting.rack.look import Filter
from nesting.rack.store import open_rack
from nesting.report.facts import DrawingFacts
from nesting.shop import Shop
from nesting.steps.batch_former import Former
from nesting.steps.batch_lines import named
from nesting.steps.order import Order, Questions, clearances_on, plate_of, resolve, shop_of
from nesting.tolerances import PLACING_CHORD_MM

YEARLY = 0.2
"""A year on the rack takes a piece's weight to 1 / (1 + YEARLY): older ones go first; common practice, no source."""

_DAYS = 365.25
_STAND_IN_MM = 1000.0


@dataclass(frozen=True, kw_only=True)
class BatchOrder:
    """All that a batch needs.  `orders` has for each line an order of its own, whose plate stands in for the real one:
    drawings, findings, notes and the way of writing are taken from it.  With `former` the batch is taken up again:
    lines that it has too have the ids that they have there.
    """

    name: str
    batch: Batch
    orders: dict[str, Order]
    plates: dict[str, tuple[DrawingFacts, ...]]
    shop: Shop
    seconds: float
    seed: int
    workers: int
    folder: Path
    today: date
    notes: tuple[str, ...] = ()
    former: Former | None = None

    @property
    def any_order(self) -> Order:
        """One of the orders, for what they share."""
        return next(iter(self.orders.values()))


def resolve_order(
    written: WrittenOrder, *, former: Former | None = None, questions: Questions | None = None, today: date
) -> BatchOrder:
    """Read all that an order names; with `former` it is that plan taken up again.

    Raises `JobError` or `DrawingError` with every fault found, `UnitsUnknownError` where a drawing's unit is not known
    and nobody can say it.
    """
    asked = questions or Questions()
    file = written.file
    shop = shop_of(written.job(_rectangle(_STAND_IN_MM, _STAND_IN_MM)))
    stock, plates, notes = _stock(written, shop, asked, today)
    read = _lines(written, shop, asked, stock)
    lines, known = named([line for line, _ in read], former)
    pieces = tuple(_enough(piece, lines) for piece in stock)
    _refuse_names(pieces, former)
    _refuse_unknown(pieces, former)
    trusted = frozenset(line.id for line in lines if _is_trusted(written, line, pieces, asked))
    return BatchOrder(
        name=written.name,
        batch=Batch(lines=tuple(lines), pieces=pieces, trusted=trusted),
        orders={x.id: replace(order, demands=(x.demand,)) for x, (_, order) in zip(lines, read, strict=True)},
        plates=plates,
        shop=shop,
        seconds=file.search.seconds,
        seed=file.search.seed,
        workers=file.search.processes,
        folder=written.folder,
        today=today,
        notes=tuple(dict.fromkeys([*notes, *known, *_taken_off(pieces, former)])),
        former=former,
    )


def _refuse_names(pieces: Sequence[StockPiece], former: Former | None) -> None:
    """A piece must not be called as a sheet that is cut was numbered."""
    numbered = {p.id for p in former.cut if p.id != p.stock} if former is not None else set()
    for piece in pieces:
        if piece.id in numbered:
            raise JobError(f"{piece.id}: a sheet that is cut has this name in the plan; give the piece another")


def _refuse_unknown(pieces: Sequence[StockPiece], former: Former | None) -> None:
    """What is missing must be a leftover of the plan or of the order; a slip of the pen would go unseen."""
    if former is None:
        return
    known = [p.id for p in pieces if p.kind == "remnant"]
    for name in former.unused:
        if any(p.id == name for p in pieces if p.kind == "sheet"):
            raise JobError(f"--missing {name}: the plan buys none of it; if it is sold out take it out of the order")
        if name not in known:
            there = ", ".join(dict.fromkeys([*(p.id for p in former.pieces), *known]))
            raise JobError(f"--missing {name}: neither the plan nor the order has such a piece; they have {there}")


def _taken_off(pieces: Sequence[StockPiece], former: Former | None) -> list[str]:
    """Name what an earlier plan did not find, which the order may still have, or have again."""
    gone = former.gone if former is not None else ()
    return [
        f"{p.id} is left aside: an earlier plan has it as missing; if it is there again give it another name"
        for p in pieces
        if p.kind == "remnant" and p.id in gone
    ]


def _rectangle(width: float, height: float, **known: object) -> PlateEntry:
    told = {key: value for key, value in known.items() if value is not None}
    return PlateEntry.model_validate({"width": f"{width:.3f} mm", "height": f"{height:.3f} mm", **told})


# Lines


def _lines(
    written: WrittenOrder, shop: Shop, asked: Questions, pieces: Sequence[StockPiece]
) -> list[tuple[Line, Order]]:
    """Read every drawing, so that the faults of all are told at once."""
    size = _largest(pieces)
    found: list[tuple[Line, Order]] = []
    faults: list[str] = []
    for entry in written.file.part:
        try:
            order = _line_order(written, shop, asked, entry, size)
        except InputError as error:
            faults.append(str(error))
            continue
        later = written.file.due_by is not None and entry.due is not None and entry.due > written.file.due_by
        found += [
            (Line(demand=demand, due=entry.due, reference=entry.reference, later=later), order)
            for demand in order.demands
        ]
    if faults:
        raise JobError("\n".join(dict.fromkeys(faults)))
    return found


def _line_order(
    written: WrittenOrder, shop: Shop, asked: Questions, entry: LineEntry, size: tuple[float, float]
) -> Order:
    """Resolve one line as a job on a plate that suits it: whether the stock does is told later, piece by piece."""
    stand_in = _rectangle(*size, thickness=f"{entry.thickness} mm", grade=entry.grade, grain=0.0)
    job = written.job(stand_in, (entry,))
    return resolve(replace(job, file=job.file.model_copy(update={"shop": None})), questions=asked, shop=shop)


def _largest(pieces: Sequence[StockPiece]) -> tuple[float, float]:
    """Width and height that hold every piece."""
    boxes = [piece.plate.fine_polygon.bounds for piece in pieces]
    return max(b[2] - b[0] for b in boxes), max(b[3] - b[1] for b in boxes)


def _is_trusted(written: WrittenOrder, line: Line, pieces: Sequence[StockPiece], asked: Questions) -> bool:
    """True if a line that asks for a grade may be cut from plate of unknown grade; asked only where there is some."""
    part = line.demand.part
    unknown = any(p.plate.grade is None and _as_thick(line, p) for p in pieces)
    if part.grade is None or not unknown:
        return False
    return written.file.accept_unknown_grade or asked.accept_unknown_grade(part.name, part.grade)


def _as_thick(line: Line, piece: StockPiece) -> bool:
    """True if a line may be cut from a piece by its thickness."""
    mine, its = line.demand.part.thickness_mm, piece.plate.thickness_mm
    return mine is None or (its is not None and abs(mine - its) <= SAME_THICKNESS_MM)


# Stock


def _stock(
    written: WrittenOrder, shop: Shop, asked: Questions, today: date
) -> tuple[list[StockPiece], dict[str, tuple[DrawingFacts, ...]], list[str]]:
    """Gather remnants, pieces of the rack and sheets; faults of all are told at once."""
    found: list[StockPiece] = []
    plates: dict[str, tuple[DrawingFacts, ...]] = {}
    notes: list[str] = []
    faults: list[str] = []
    for number, entry in enumerate(written.file.piece, start=1):
        try:
            bare = plate_of(written.job(entry), asked, shop, None)
            piece = _remnant(written, shop, _name(entry, bare.plate, number), bare.plate, entry, today)
        except InputError as error:
            faults.append(f"{written.source}: piece {number}: {error}")
            continue
        found.append(piece)
        plates[piece.id] = bare.drawings
        notes += [f"{piece.id}: {f.message}" for f in bare.findings]
    for number, sheet in enumerate(written.file.sheet, start=1):
        try:
            found.append(_sheet(written, shop, sheet, number))
        except InputError as error:
            faults.append(f"{written.source}: sheet {number}: {error}")
    if written.file.rack is not None:
        found += _from_rack(written, shop, notes, today)
    if faults:
        raise JobError("\n".join(faults))
    notes += [f"{p.id} is left aside: its thickness is not known" for p in found if p.plate.thickness_mm is None]
    known = [p for p in found if p.plate.thickness_mm is not None]
    if not known:
        raise JobError(f"{written.source}: there is no piece of known thickness to cut from; measure one and say it")
    return known, plates, notes


def _name(entry: PieceEntry, plate: Plate, number: int) -> str:
    if entry.name:
        return entry.name
    if entry.drawing is not None:
        return (plate.name or Path(entry.drawing.replace("\\", "/")).stem).strip()
    return f"piece {number}"


def _remnant(written: WrittenOrder, shop: Shop, name: str, plate: Plate, entry: PieceEntry, today: date) -> StockPiece:
    plate = replace(plate, name=name)
    weight = entry.weight if entry.weight is not None else _weight(_rectangle_mm2(plate), plate, entry.added, today)
    return _piece(written, shop, plate, weight)


def _piece(written: WrittenOrder, shop: Shop, plate: Plate, weight: float) -> StockPiece:
    # A piece of unknown thickness is named and left aside; until then any clearances do.
    measured = plate if plate.thickness_mm is not None else replace(plate, thickness_mm=1.0)
    clearances = clearances_on(written.job(_rectangle(1.0, 1.0)), shop, measured)
    return StockPiece(id=plate.name, plate=plate, clearances=clearances, weight=weight)


def _weight(rectangle_mm2: float, plate: Plate, added: date | None, today: date) -> float:
    """What an area of a remnant is worth to keep: less if ragged, less with every year on the rack.

    `rectangle_mm2`: the largest that fits inside.
    """
    plain = rectangle_mm2 / plate.area_mm2
    years = 0.0 if added is None else max(0.0, (today - added).days / _DAYS)
    return (0.5 + 0.5 * min(1.0, plain)) / (1.0 + YEARLY * years)


def _rectangle_mm2(plate: Plate) -> float:
    """The largest rectangle inside what of a plate can be used."""
    parts = [p for p in shapely.get_parts(plate.usable_polygon(PLACING_CHORD_MM)) if p.area > 0.0]
    boxes = [largest_rectangle(p) for p in parts]
    return max((float(box.width_mm * box.height_mm) for box in boxes), default=0.0)


def _from_rack(written: WrittenOrder, shop: Shop, notes: list[str], today: date) -> list[StockPiece]:
    """All pieces of the rack that nobody has set aside for another job, of thicknesses that the order asks for."""
    where = written.file.rack
    assert where is not None
    path: str | Path = where if "://" in where else written.job(_rectangle(1.0, 1.0)).path(where)
    with open_rack(path) as rack:
        there = rack.pieces(Filter())
    asked = {entry.thickness for entry in written.file.part}
    found = []
    for piece in there:
        if piece.set_aside_for not in (None, written.name):
            notes.append(f"{piece.id} is left aside: it is set aside for {piece.set_aside_for}")
            continue
        if piece.plate.thickness_mm is None or any(
            abs(piece.plate.thickness_mm - t) <= SAME_THICKNESS_MM for t in asked
        ):
            rectangle_mm2 = piece.summary.long_mm * piece.summary.short_mm
            weight = _weight(rectangle_mm2, piece.plate, piece.added, today)
            found.append(_piece(written, shop, piece.plate, weight))
    return found


def _sheet(written: WrittenOrder, shop: Shop, entry: SheetEntry, number: int) -> StockPiece:
    bare = plate_of(written.job(entry), Questions(), shop, None).plate
    name = entry.name or f"sheet {number}"
    plate = replace(bare, name=name)
    return StockPiece(
        id=name,
        plate=plate,
        clearances=clearances_on(written.job(_rectangle(1.0, 1.0)), shop, plate),
        kind="sheet",
        price=entry.price,
        count=entry.count or 1,
        unlimited=entry.count is None,
        comes=entry.comes,
    )


def _enough(piece: StockPiece, lines: Sequence[Line]) -> StockPiece:
    """Of a sheet that there are as many of as are needed, at most one for every part of its thickness."""
    if not piece.unlimited:
        return piece
    wanted = sum(line.quantity for line in lines if _as_thick(line, piece))
    return replace(piece, count=max(1, min(wanted, MOST_SHEETS)))
