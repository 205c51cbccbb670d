"""What a plan has to tell, as plain values: pieces in the order they are cut, lines and where they are, what to buy."""

from dataclasses import dataclass
from datetime import date
from typing import Any, Final, Literal

SCHEMA: Final = "oddplate-plan/1"

PieceState = Literal["to cut", "cut"]
LineStatus = Literal["planned", "cut", "late", "left over", "impossible", "not due yet"]


@dataclass(frozen=True, kw_only=True)
class PlacedRow:
    """So many pieces of a line on a piece of plate."""

    line: str
    name: str
    reference: str
    count: int


@dataclass(frozen=True, kw_only=True)
class LeftRow:
    """A remnant that stays of a piece."""

    label: str
    rectangle_mm: tuple[float, float]
    area_mm2: float
    mass_kg: float | None


@dataclass(frozen=True, kw_only=True)
class PieceRow:
    """A piece of plate in the order in which it is cut; `folder` holds its drawing and sheets, in the plan's folder."""

    number: int
    id: str
    stock: str
    kind: Literal["remnant", "sheet"]
    state: PieceState
    folder: str
    layout_id: str
    thickness_mm: float | None
    grade: str | None
    place: str | None
    utilisation: float
    placed: tuple[PlacedRow, ...]
    left: tuple[LeftRow, ...]
    first_due: date | None = None
    comes: date | None = None
    price: float = 0.0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class LineRow:
    """A line of the order: which pieces it is on, and what is wrong with it."""

    line: str
    name: str
    reference: str
    due: date | None
    wanted: int
    planned: int
    cut: int
    failed: int
    on: tuple[tuple[str, int], ...]
    status: LineStatus
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class BuyRow:
    """A sheet to buy."""

    name: str
    size_mm: tuple[float, float]
    thickness_mm: float | None
    grade: str | None
    count: int
    price_each: float
    comes: date | None


@dataclass(frozen=True, kw_only=True)
class PlanFacts:
    """A whole plan.

    `opened_mm2` is the area of the remnants cut into.  No plan that makes all lines due costs less than `least_price`
    or, at that price, gives up less than `least_worth` of what the remnants are worth (area by weight, mm2).
    """

    name: str
    made_on: date
    currency: str
    pieces: tuple[PieceRow, ...]
    lines: tuple[LineRow, ...]
    buy: tuple[BuyRow, ...]
    price: float
    least_price: float
    opened_mm2: float
    worth: float
    least_worth: float
    seconds: float
    layouts_tried: int
    interrupted: bool = False
    notes: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """True if every line due has all its parts on some piece."""
        return all(line.status in ("planned", "cut", "late", "not due yet") for line in self.lines)

    @property
    def gap(self) -> float | None:
        """Share by which the plan's worth is above the bound at most; None where the price is above its own bound."""
        if not self.complete or self.price > self.least_price * (1 + 1e-9) or self.worth <= 0.0:
            return None
        return max(0.0, (self.worth - self.least_worth) / self.worth)

    @property
    def least_price_told(self) -> bool:
        """True if the bound on the price says something: it is not nothing, as it is printed."""
        return round(self.least_price, 2) > 0.0

    @property
    def least_worth_told(self) -> bool:
        """True if the bound on the worth says something: printed in square metres or feet it is not nothing."""
        return self.least_worth >= 500.0

    def as_json(self) -> dict[str, Any]:
        """Return the plan for a JSON document, units in the keys."""
        return {
            "schema": SCHEMA,
            "name": self.name,
            "made_on": self.made_on.isoformat(),
            "interrupted": self.interrupted,
            "complete": self.complete,
            "currency": self.currency,
            "price": round(self.price, 2),
            "least_price": round(self.least_price, 2),
            "remnant_area_opened_mm2": round(self.opened_mm2, 1),
            "remnant_worth_mm2": round(self.worth, 1),
            "least_remnant_worth_mm2": round(self.least_worth, 1),
            "gap": None if self.gap is None else round(self.gap, 4),
            "seconds": self.seconds,
            "layouts_tried": self.layouts_tried,
            "pieces": [_piece_json(p) for p in self.pieces],
            "lines": [_line_json(line) for line in self.lines],
            "buy": [_buy_json(b) for b in self.buy],
            "notes": list(self.notes),
        }


def _piece_json(piece: PieceRow) -> dict[str, Any]:
    return {
        "number": piece.number,
        "id": piece.id,
        "stock": piece.stock,
        "kind": piece.kind,
        "state": piece.state,
        "folder": piece.folder,
        "layout_id": piece.layout_id,
        "thickness_mm": piece.thickness_mm,
        "grade": piece.grade,
        "place": piece.place,
        "utilisation": round(piece.utilisation, 4),
        "first_due": _day(piece.first_due),
        "comes": _day(piece.comes),
        "price": piece.price,
        "parts": [{"line": p.line, "name": p.name, "reference": p.reference, "count": p.count} for p in piece.placed],
        "left": [
            {
                "label": r.label,
                "rectangle_mm": [round(s, 1) for s in r.rectangle_mm],
                "area_mm2": round(r.area_mm2, 1),
                "mass_kg": None if r.mass_kg is None else round(r.mass_kg, 2),
            }
            for r in piece.left
        ],
        "notes": list(piece.notes),
    }


def _line_json(line: LineRow) -> dict[str, Any]:
    return {
        "line": line.line,
        "name": line.name,
        "reference": line.reference,
        "due": _day(line.due),
        "wanted": line.wanted,
        "planned": line.planned,
        "cut": line.cut,
        "failed": line.failed,
        "on": [{"piece": piece, "count": count} for piece, count in line.on],
        "status": line.status,
        "reason": line.reason,
    }


def _buy_json(row: BuyRow) -> dict[str, Any]:
    return {
        "name": row.name,
        "size_mm": [round(s, 1) for s in row.size_mm],
        "thickness_mm": row.thickness_mm,
        "grade": row.grade,
        "count": row.count,
        "price_each": row.price_each,
        "price": round(row.count * row.price_each, 2),
        "comes": _day(row.comes),
    }


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
