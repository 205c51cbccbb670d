"""Tape readings as written: which corners, how long, and what is said of the sides they lie on."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NoReturn

from nesting.errors import InputError
from nesting.outline.pasted import Pasted, Row, is_length
from nesting.units import Unit

SIGMA_MM: Final = 1.0
"""How far a tape reading scatters, one standard deviation, where nobody says (common practice, no source)."""

_NAME: Final = r"[A-Za-z][A-Za-z0-9_]*|\d+"
_SIDE: Final = re.compile(rf"((?:(?:{_NAME})[\s,;]+)+?)(left|right)\s+of\s+({_NAME})[\s,;-]+({_NAME})", re.IGNORECASE)
_HOLE: Final = re.compile(r"(hole|circle|keep-?\s?out|clamp|magnet)\b[\s,;:]*(.*)", re.IGNORECASE)
_ROUND: Final = re.compile(rf"(?:circle|round)[\s,;:]+({_NAME})[\s,;:]+(\S.*)", re.IGNORECASE)
_LIST: Final = re.compile(r"(dents?|base|order)\b[\s,;:=]*(.*)", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One tape: from which corner to which, the length read and how far it may scatter, millimetres."""

    line: int
    first: str
    second: str
    length_mm: float
    sigma_mm: float

    @property
    def tape(self) -> str:
        """The tape as people say it."""
        return f"{self.first}-{self.second}"


@dataclass(frozen=True, kw_only=True)
class Side:
    """Corners that lie left, or right, of the line from one point to another."""

    corners: tuple[str, ...]
    left: bool
    start: str
    end: str


@dataclass(frozen=True, kw_only=True)
class TapedHole:
    """An old cut-out: its corners in order, or its centre alone with the diameter and how far that may scatter."""

    line: int
    corners: tuple[str, ...]
    diameter_mm: float | None = None
    sigma_mm: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Said:
    """What people say of the figure besides lengths.

    `dents` are the corners that point into the plate, None where nobody said anything; `base` are points that are no
    corners; `order` is the way round the edge, empty for that of the names; `clockwise` tells its sense.  Corners and
    centres of `holes` are none of the edge's.
    """

    dents: tuple[str, ...] | None = None
    sides: tuple[Side, ...] = ()
    base: tuple[str, ...] = ()
    order: tuple[str, ...] = ()
    clockwise: bool = False
    holes: tuple[TapedHole, ...] = ()

    @property
    def in_holes(self) -> tuple[str, ...]:
        """Corners and centres of all holes."""
        return tuple(name for hole in self.holes for name in hole.corners)

    def plus(self, other: "Said") -> "Said":
        """Return both together; what the other says wins."""
        return Said(
            dents=self.dents if other.dents is None else other.dents,
            sides=self.sides + other.sides,
            base=other.base or self.base,
            order=other.order or self.order,
            clockwise=self.clockwise or other.clockwise,
            holes=self.holes + other.holes,
        )


def read_tapes(pasted: Pasted, unit: Unit, sigma_mm: float) -> tuple[tuple[Reading, ...], Said]:
    """Read lines such as `A,B,1200`, `A,B,47 1/4` or `A,B,1200,2` (its own deviation), and what is said of sides.

    Other lines: `dents E G`, `dents none`, `C D left of P Q`, `base P Q`, `order A C B D`, `clockwise`, `hole P Q R`
    (its corners), `hole circle P 160` (its centre and diameter).  A first line of headings is passed over.  Raise
    `InputError` with the line for anything else.
    """
    readings: list[Reading] = []
    said = Said()
    first = True
    for row in pasted.rows():
        statement = read_statement(row.text)
        if statement is not None:
            said = said.plus(statement)
        elif _HOLE.fullmatch(row.text):
            said = said.plus(Said(holes=(_hole(row, unit, sigma_mm),)))
        elif not (first and row.is_heading):
            readings.append(_reading(row, unit, sigma_mm))
        first = False
    if not readings:
        raise InputError(f"{pasted.name}: no tape readings; write one a line, such as A,B,1200")
    return tuple(readings), said


def read_statement(text: str) -> Said | None:
    """Read one statement of sides, dents, base points or order; None if it is none."""
    plain = text.strip().rstrip(",;")
    if plain.lower() in ("clockwise", "counter-clockwise", "counterclockwise"):
        return Said(clockwise=plain.lower() == "clockwise")
    side = _SIDE.fullmatch(plain)
    if side:
        corners, word, start, end = side.groups()
        left = word.lower() == "left"
        return Said(sides=(Side(corners=_names(corners), left=left, start=start.upper(), end=end.upper()),))
    listed = _LIST.fullmatch(plain)
    if listed is None:
        return None
    word, rest = listed[1].lower(), _names(listed[2])
    if word.startswith("dent"):
        return Said(dents=() if rest in ((), ("NONE",)) else rest)
    return Said(base=rest) if word == "base" else Said(order=rest)


def _hole(row: Row, unit: Unit, sigma_mm: float) -> TapedHole:
    head = _HOLE.fullmatch(row.text)
    assert head is not None
    word, rest = head[1].lower(), head[2].strip().rstrip(",;")
    if word not in ("hole", "circle"):
        _refuse_by_tape(row, "clamp" if word in ("clamp", "magnet") else "keep-out")
    round_one = _ROUND.fullmatch(rest)
    if round_one and word == "hole" and is_length(round_one[2], unit, decimal_comma=row.decimal_comma):
        diameter = row.length(round_one[2], unit)
        if not diameter > 0.0:
            row.refuse(f"a hole of diameter {round_one[2]}", "give more than 0")
        return TapedHole(line=row.line, corners=_names(round_one[1]), diameter_mm=diameter, sigma_mm=sigma_mm)
    corners = _names(rest)
    if word == "circle" or round_one or len(corners) < 3 or not all(re.fullmatch(_NAME, c) for c in corners):
        row.refuse(
            f"{row.text!r} is no hole",
            "write 'hole P Q R' and tape its corners, or 'hole circle P 160' and tape its centre P; a hole known by x "
            "and y is added to the plate file: oddplate plate edit FILE --hole circle,X,Y,D",
        )
    return TapedHole(line=row.line, corners=corners)


def _refuse_by_tape(row: Row, option: str) -> NoReturn:
    row.refuse(
        f"{row.text!r} is no tape reading",
        f'take it out, and add it to the plate file: oddplate plate edit FILE --{option} "X,Y X,Y ..."',
    )


def _names(text: str) -> tuple[str, ...]:
    return tuple(name.upper() for name in re.findall(r"\w+", text))


def _reading(row: Row, unit: Unit, sigma_mm: float) -> Reading:
    fields = row.fields
    if len(fields) in (2, 3) and re.fullmatch(rf"(?:{_NAME})\s*-\s*(?:{_NAME})", fields[0]):
        fields = (*re.split(r"\s*-\s*", fields[0]), *fields[1:])
    if len(fields) not in (3, 4):
        row.refuse(f"{row.text!r} is no tape reading", "write corner, corner, length, such as A,B,1200 or A,B,47 1/4")
    names = [f.upper() for f in fields[:2]]
    for name in names:
        if not re.fullmatch(_NAME, name):
            row.refuse(f"{name!r} is no name of a corner", "use letters, such as A or B2")
    if names[0] == names[1]:
        row.refuse(f"a tape from {names[0]} to itself", "name the two corners between which it was taken")
    length = row.length(fields[2], unit)
    if not length > 0.0:
        row.refuse(f"tape {names[0]}-{names[1]} reads {fields[2]}", "a distance is more than 0; read it again")
    sigma = row.length(fields[3], unit) if len(fields) == 4 else sigma_mm
    if not sigma > 0.0:
        row.refuse(f"a deviation of {sigma:g} mm", "give more than 0, behind the length or with --sigma")
    return Reading(line=row.line, first=names[0], second=names[1], length_mm=length, sigma_mm=sigma)


def ordered(readings: Sequence[Reading], said: Said, source: str) -> tuple[str, ...]:
    """Return the corners in order round the edge, counter-clockwise; raise `InputError` where what is said fits not."""
    seen = {name for r in readings for name in (r.first, r.second)}
    mentioned = {
        *said.base,
        *said.in_holes,
        *said.order,
        *(said.dents or ()),
        *(n for s in said.sides for n in (*s.corners, s.start, s.end)),
    }
    strange = sorted(mentioned - seen)
    if strange:
        raise InputError(
            f"{source}: {', '.join(strange)} is named and no tape leads there; corners with tapes are "
            f"{', '.join(sorted(seen, key=_natural))}"
        )
    apart = (*said.base, *said.in_holes)
    twice = sorted({n for n in apart if apart.count(n) > 1 or n in said.order}, key=_natural)
    if twice:
        raise InputError(f"{source}: {', '.join(twice)} is in a hole and elsewhere too; give every point one name")
    corners = said.order or tuple(sorted(seen - set(apart), key=_natural))
    if len(set(corners)) != len(corners):
        raise InputError(f"{source}: order names a corner twice; name each once")
    left_out = sorted(seen - set(corners) - set(apart), key=_natural)
    if left_out:
        raise InputError(
            f"{source}: order leaves out {', '.join(left_out)}; name every corner, or call them base points"
        )
    if len(corners) < 3:
        raise InputError(f"{source}: tapes between {len(corners)} corners; a plate has at least three")
    return tuple(reversed(corners)) if said.clockwise else corners


def _natural(name: str) -> tuple[object, ...]:
    """A before B before AA; 2 before 10."""
    letters = name.rstrip("0123456789")
    return (len(letters), letters, int(name[len(letters) :] or 0))
