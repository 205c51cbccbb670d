"""What the rack holds, as frozen values: pieces, what happened to them, what was cut from them."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cache, cached_property
from typing import Any, Final, Literal, get_args

from pydantic import TypeAdapter

from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.plate import Capture, KeepOut, Plate
from nesting.rack.summary import Summary

State = Literal["on the rack", "set aside", "cut", "scrapped", "taken back"]
"""`taken back`: its coming was undone; its id is not used again."""

STATES: Final[tuple[State, ...]] = get_args(State)
THERE: Final[tuple[State, ...]] = ("on the rack", "set aside")
"""States of a piece that somebody can lay a hand on."""

Valued = Literal["as new", "as remnant", "as scrap", "own"]
VALUED: Final[tuple[Valued, ...]] = get_args(Valued)

ActKind = Literal["add", "edit", "set aside", "give back", "cut", "scrap", "undo"]


@dataclass(frozen=True, kw_only=True)
class Outline:
    """The shape of a piece, as true curves, millimetres."""

    outer: Contour
    holes: tuple[Contour, ...] = ()
    keep_outs: tuple[KeepOut, ...] = ()

    def to_json(self) -> str:
        """Return it as a text that gives back exactly the same."""
        return _outlines().dump_json(self).decode()

    @staticmethod
    def from_json(text: str) -> "Outline":
        """Read what `to_json` wrote; raise ValueError for anything else."""
        return _outlines().validate_json(text)


@cache
def _outlines() -> TypeAdapter[Outline]:
    return TypeAdapter(Outline)


@dataclass(frozen=True, kw_only=True)
class Facts:
    """What is known of a piece besides its outline; all of it may be put right later.  None is not known.

    `weighed_kg` is what a scale said.  `valued` says by which price it counts; `own_value` is the shop's own figure.
    """

    name: str = ""
    thickness_mm: float | None = None
    grade: str | None = None
    heat: str | None = None
    certificate: str | None = None
    grain_deg: float | None = None
    place: str | None = None
    photo: str | None = None
    note: str = ""
    weighed_kg: float | None = None
    valued: Valued = "as remnant"
    own_value: float | None = None

    def __post_init__(self) -> None:
        """Raise `InputError` for a figure that cannot be."""
        for key in FIGURES:
            wrong = unfit(key, getattr(self, key))
            if wrong is not None:
                raise InputError(wrong)
        if (self.valued == "own") != (self.own_value is not None):
            raise InputError("an own value goes with valued 'own', and only with it")


FIGURES: Final = ("thickness_mm", "grain_deg", "weighed_kg", "own_value")
"""What is known of a piece as a number."""

_ABOVE_0: Final = ("thickness_mm", "weighed_kg")


def unfit(key: str, value: float | None) -> str | None:
    """Say what is wrong with one of the `FIGURES`; None for one that can be, or that is not known."""
    if value is None:
        return None
    if not math.isfinite(value):
        return f"{key}: expected a finite number, got {value}"
    if key in _ABOVE_0 and not value > 0.0:
        return f"{key}: expected more than 0, got {value:g}"
    if key == "own_value" and value < 0.0:
        return f"{key}: expected 0 or more, got {value:g}"
    return None


@dataclass(frozen=True, kw_only=True)
class NewPiece:
    """A piece on its way to the rack; `id` None lets the rack choose one.

    `parent` is the id of the piece that it was cut from, or what else is known of that.  `capture` is how the outline
    came in, as plain values for JSON; the rack keeps it as it is.
    """

    outline: Outline
    summary: Summary
    uncertainty_mm: float
    facts: Facts = Facts()
    captured: str = "as given"
    capture: Mapping[str, Any] = field(default_factory=dict)
    id: str | None = None
    parent: str | None = None
    added: date | None = None

    @staticmethod
    def of(plate: Plate, facts: Facts | None = None, *, capture: Mapping[str, Any] | None = None) -> "NewPiece":
        """Return a plate as a piece, its shape measured; without `facts` those of the plate."""
        return NewPiece(
            outline=Outline(outer=plate.outer, holes=plate.holes, keep_outs=plate.keep_outs),
            summary=Summary.of(plate),
            uncertainty_mm=plate.uncertainty_mm,
            facts=facts or facts_of(plate),
            captured=plate.captured,
            capture=capture or {},
            parent=plate.parent,
        )


def facts_of(plate: Plate) -> Facts:
    """Return what a plate says of itself."""
    return Facts(
        name=plate.name,
        thickness_mm=plate.thickness_mm,
        grade=plate.grade,
        heat=plate.heat,
        certificate=plate.certificate,
        grain_deg=plate.grain_deg,
        place=plate.place,
        photo=plate.capture.photo if plate.capture else None,
    )


@dataclass(frozen=True, kw_only=True)
class Listed:
    """A piece as the rack lists it, without its outline.  `number` tells in which order pieces came.

    `mended` says which figures the rack holds that cannot be: they are taken as unknown.
    """

    id: str
    number: int
    state: State
    set_aside_for: str | None
    facts: Facts
    parent: str | None
    added: date
    summary: Summary
    uncertainty_mm: float
    captured: str
    mended: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class RackPiece(Listed):
    """A piece as the rack holds it, with its outline and how that came in."""

    capture_json: str = field(repr=False)
    outline_json: str = field(repr=False)

    @cached_property
    def outline(self) -> Outline:
        """Its shape."""
        return Outline.from_json(self.outline_json)

    @cached_property
    def plate(self) -> Plate:
        """The piece as a plate to lay out on, named by its id."""
        shape, facts, capture = self.outline, self.facts, self._capture
        return Plate(
            name=self.id,
            outer=shape.outer,
            holes=shape.holes,
            keep_outs=shape.keep_outs,
            thickness_mm=facts.thickness_mm,
            grade=facts.grade,
            heat=facts.heat,
            certificate=facts.certificate,
            grain_deg=facts.grain_deg,
            captured=_told(self.captured, capture),
            uncertainty_mm=self.uncertainty_mm,
            parent=self.parent,
            place=facts.place,
            source=f"rack piece {self.id}",
            capture=None if capture == Capture() else capture,
            lettered=tuple((name, (x, y)) for name, x, y in self._record.get("letters") or ()),
        )

    @cached_property
    def _record(self) -> dict[str, Any]:
        return TypeAdapter(dict[str, Any]).validate_json(self.capture_json)

    @cached_property
    def _capture(self) -> Capture:
        said = self._record
        kept = {key: said[key] for key in ("who", "when", "photo", "set_up_by") if said.get(key)}
        found: Capture = TypeAdapter(Capture).validate_python(kept)
        return replace(found, photo=self.facts.photo)


def _told(captured: str, capture: Capture) -> str:
    """Say how a plate was captured and by which corners it is laid on the table."""
    if len(capture.set_up_by) != 2:
        return captured
    first, second = (f"({x:.1f}, {y:.1f})" for x, y in capture.set_up_by)
    return f"{captured}, to be laid on the table by its corners at {first} and {second} mm"


@dataclass(frozen=True, kw_only=True)
class Change:
    """What an act did to one piece: the state it left it in, and what else changed, by key, before and after.

    `before` is None where the piece came with the act.
    """

    piece_id: str
    before: Mapping[str, Any] | None
    after: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Act:
    """Something that happened, and is never changed; `undoes` is the act it takes back, `undone_by` its undoing."""

    number: int
    when: datetime
    who: str
    kind: ActKind
    note: str
    changes: tuple[Change, ...]
    undoes: int | None = None
    undone_by: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPart:
    """One piece of a part of a layout; `number` is what is chalked on it."""

    number: int
    part_id: str
    name: str


@dataclass(frozen=True, kw_only=True)
class CutRecord:
    """What was really cut from a piece.

    `layout_json` is the layout as saved, `yield_json` its report where there was one.  `made` came out right, `failed`
    was cut and is no use, `not_reached` was not cut: its place is in a remnant.  `areas` are mm2 of plate, parts, kerf,
    kept remnants and scrap.  `remnants` are the ids of what came back.
    """

    when: datetime
    piece_id: str
    layout_id: str
    layout_json: str = field(repr=False)
    yield_json: str | None = field(repr=False, default=None)
    made: tuple[CutPart, ...] = ()
    failed: tuple[CutPart, ...] = ()
    not_reached: tuple[CutPart, ...] = ()
    areas: Mapping[str, float] = field(default_factory=dict)
    remnants: tuple[str, ...] = ()
    who: str = ""
    act: int = 0
