"""Batches for tests: rectangles on rectangles."""

from dataclasses import replace
from datetime import date

from nesting.batch.columns import Column
from nesting.batch.stock import Batch, Line, StockPiece
from nesting.clearances import Clearances
from nesting.demand import Demand, Turns
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.part import Part
from nesting.plate import Plate

NONE = Clearances(kerf_mm=0.0, gap_mm=0.0, margin_mm=0.0)


def part(
    name: str, width: float, height: float, *, thickness: float | None = None, grade: str | None = None
) -> Part:  # fmt: skip
    outer = Contour.of_rectangle(width, height)
    return Part(id=name, name=name, outer=outer, thickness_mm=thickness, grade=grade)


def line(
    name: str, width: float, height: float, quantity: int = 1, *, turns: Turns | None = None,
    thickness: float | None = None, grade: str | None = None, due: date | None = None, later: bool = False,
    priority: int = 1,
) -> Line:  # fmt: skip
    demand = Demand(
        part=part(name, width, height, thickness=thickness, grade=grade), quantity=quantity,
        turns=turns or Turns.steps(90), priority=priority,
    )  # fmt: skip
    return Line(demand=demand, due=due, later=later)


def plate(
    name: str, width: float, height: float, *, thickness: float | None = None, grade: str | None = None,
    grain: float | None = None,
) -> Plate:  # fmt: skip
    return Plate(
        name=name, outer=Contour.of_rectangle(width, height), thickness_mm=thickness, grade=grade, grain_deg=grain
    )


def remnant(
    name: str, width: float, height: float, *, weight: float = 1.0, thickness: float | None = None,
    grade: str | None = None, grain: float | None = None,
) -> StockPiece:  # fmt: skip
    own = plate(name, width, height, thickness=thickness, grade=grade, grain=grain)
    return StockPiece(id=name, plate=own, clearances=NONE, weight=weight)


def sheet(
    name: str, width: float, height: float, price: float, count: int = 3, *, comes: date | None = None
) -> StockPiece:  # fmt: skip
    own = plate(name, width, height)
    return StockPiece(id=name, plate=own, clearances=NONE, kind="sheet", price=price, count=count, comes=comes)


def batch(lines: list[Line], pieces: list[StockPiece], trusted: frozenset[str] = frozenset()) -> Batch:
    return Batch(lines=tuple(lines), pieces=tuple(pieces), trusted=trusted)


def column(of: Batch, piece: int, counts: dict[str, int]) -> Column:
    """A column by its counts alone; where the parts lie is not looked at here."""
    names = [name for name, n in counts.items() for _ in range(n)]
    demands = tuple(replace(x.demand, quantity=counts[x.id]) for x in of.lines if counts.get(x.id))
    placements = tuple(Placement(number=i, part_id=n, pose=Pose()) for i, n in enumerate(names, start=1))
    return Column(
        piece=piece,
        layout=Layout(plate=of.pieces[piece].plate, clearances=NONE, demands=demands, placements=placements),
    )
