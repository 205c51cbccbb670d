"""Machine positions as controllers, displays and people spell them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, NoReturn

from nesting.errors import InputError
from nesting.geometry.pose import Point
from nesting.outline.pasted import Row, may_be_thousands, measure, split
from nesting.units import Unit

Decimal = Literal["point", "comma"]

_NUMBER: Final = r"[+-]?\s*(?:\d+\s+\d+/\d+|\d+-\d+/\d+|\d+/\d+|\d+(?:[.,]\d+|\.)?|[.,]\d+)"
_UNIT: Final = r"(?:\s*(?:mm|cm|inches|inch|in|\"))?"
_AXIS: Final = re.compile(
    rf"(?<![A-Za-z])([XYZ])(?:[\s_-]*(?:axis|pos(?:ition)?|abs|work))?\s*[:=]?\s*({_NUMBER}{_UNIT})(?![\d.])",
    re.IGNORECASE,
)
_LABEL: Final = re.compile(
    r"\s*(?:(?:point|pt|pos|p|no|nr|n)\.?\s*)?\d+\s*(?::|\)|\.(?=\s))\s*|\s*N\d+\s+(?=[GXY])|\s*(?:point|pt|p)\s*\d+\b[\s,;]*",
    re.IGNORECASE,
)
_CODE: Final = re.compile(r"(?<![A-Za-z])([GMFSTN])\s*0*(\d+(?:\.\d+)?)\.?(?![\d.])", re.IGNORECASE)
_ARC_WORD: Final = re.compile(r"(?<![A-Za-z])(arc|on arc|through|curve)(?![A-Za-z])", re.IGNORECASE)
_TWO_COMMAS: Final = re.compile(r"\s*[+-]?\d+,\d+\s+[+-]?\d+,\d+\s*")
_NUMBERED: Final = re.compile(r"\s*\d+\.\s*")
_ENDS_IN_POINT: Final = re.compile(r"\d\.(?!\d)")


@dataclass(frozen=True, kw_only=True)
class Spelled:
    """One position, millimetres, and whether it was called a point on an arc."""

    at: Point
    on_arc: bool


@dataclass(frozen=True, kw_only=True)
class Columns:
    """Where x and y stand in a table, from 0."""

    x: int
    y: int


def columns_in(row: Row) -> Columns | None:
    """Return the columns that a line of headings names x and y; None if it is no such line."""
    if any(c.isdigit() for c in row.text):
        return None
    words = [re.sub(r"[^a-z]", "", f.lower()) for f in row.fields]
    named = {
        w[:1]: k
        for k, w in reversed(list(enumerate(words)))
        if w in ("x", "y", "xmm", "ymm", "xin", "yin", "xpos", "ypos", "xaxis", "yaxis")
    }
    return Columns(x=named["x"], y=named["y"]) if len(named) == 2 else None


def unit_said(text: str) -> Unit | None:
    """Return the unit a line sets by G20 (inch) or G21 (mm) of ISO 6983 programs; None if it sets none."""
    codes = {(m[1].upper(), m[2]) for m in _CODE.finditer(text)}
    return "inch" if ("G", "20") in codes else "mm" if ("G", "21") in codes else None


def read_position(
    row: Row, unit: Unit, *, columns: Columns | None = None, decimal: Decimal | None = None
) -> Spelled | None:
    """Return the position of a line; None where it holds no number that could be one.

    Known spellings: `X123.4 Y56.7` with or without blanks, colons, equals signs, units, axis words and program codes
    before; `Y` first; decimal commas; fractions; `(12.3, 45.6)`; two numbers apart by comma, semicolon, tab, slash or
    blanks; `3: 12.3 45.6`; a third axis Z is passed over.  Raise `InputError` with the line for anything doubtful.
    """
    text = row.text.replace("−", "-").replace("”", '"')
    _refuse_moves(row, text)
    on_arc = bool(_ARC_WORD.search(text))
    text = _ARC_WORD.sub(" ", text)
    if columns is not None:
        fields = [f.strip() for f in row.fields]
        if len(fields) <= max(columns.x, columns.y):
            row.refuse(f"{len(fields)} columns", "x and y stand further right by the headings")
        pair = (fields[columns.x], fields[columns.y])
        point = decimal or (_shown(row, pair) if row.decimal_comma else "point")
        return Spelled(at=(_value(row, pair[0], unit, point), _value(row, pair[1], unit, point)), on_arc=on_arc)
    axes = [(m[1].upper(), m[2]) for m in _AXIS.finditer(text)]
    if axes:
        return Spelled(at=_tagged(row, text, axes, unit, decimal), on_arc=on_arc)
    bare = _unlabelled(text)
    if not re.search(r"\d", bare):
        return None
    return Spelled(at=_plain(row, bare, unit, decimal), on_arc=on_arc)


def _unlabelled(text: str) -> str:
    label = _LABEL.match(text)
    if label is None:
        return text
    rest = text[label.end() :]
    # Where another number ends in a point too, as in `1200. 0.`, the first is as likely a length.
    return text if _NUMBERED.fullmatch(label[0]) and _ENDS_IN_POINT.search(rest) else rest


def _refuse_moves(row: Row, text: str) -> None:
    codes = {(m[1].upper(), m[2]) for m in _CODE.finditer(text)}
    if ("G", "91") in codes:
        row.refuse("relative positions (G91)", "give absolute positions as read off the machine")
    if codes & {("G", "2"), ("G", "3")} and re.search(r"(?<![A-Za-z])[IJR]\s*[+-]?[\d.]", text, re.IGNORECASE):
        row.refuse("an arc move", "give points on the arc instead, with the word arc behind them")


def _tagged(row: Row, text: str, axes: list[tuple[str, str]], unit: Unit, decimal: Decimal | None) -> Point:
    rest = _CODE.sub(" ", _AXIS.sub(" ", _LABEL.sub(" ", text, count=1) if _LABEL.match(text) else text))
    stray = re.search(r"\S*\d\S*", rest)
    if stray:
        row.refuse(f"{stray[0]!r} beside x and y", "write a position such as X123.4 Y56.7, thousands without a mark")
    named = [a for a, _ in axes if a != "Z"]
    if sorted(named) != ["X", "Y"]:
        row.refuse(f"{' and '.join(named) or 'no axis'}", "every position needs one x and one y")
    found = {a: _value(row, number, unit, decimal) for a, number in axes if a != "Z"}
    return (found["X"], found["Y"])


def _plain(row: Row, bare: str, unit: Unit, decimal: Decimal | None) -> Point:
    inner = re.sub(r"[()\[\]{}<>|]", " ", bare).strip(" ,;\t")
    inner = re.sub(r"\s+/\s+", " ; ", inner)
    fields, comma = split(inner)
    fields = tuple(f for f in fields if f)
    commas_are_points = decimal == "comma" or _TWO_COMMAS.fullmatch(inner)
    if not comma and "," in inner and commas_are_points:
        fields, comma = tuple(inner.split()), True
    if len(fields) == 3:
        row.refuse(
            f"three numbers ({', '.join(fields)})",
            "say which are x and y: write X and Y before them, a line of headings above, or a colon behind the point's "
            "number",
        )
    if len(fields) != 2:
        row.refuse(
            f"{row.text!r} is no position", "write X123.4 Y56.7, or x and y with a comma, semicolon or tab between"
        )
    point = decimal or (_shown(row, fields) if comma else "point")
    return (_value(row, fields[0], unit, point), _value(row, fields[1], unit, point))


def _shown(row: Row, fields: Sequence[str]) -> Decimal | None:
    """Whether commas are decimals where they part no fields; None where nothing read so far tells."""
    known = row.commas_known or any("," in f and not may_be_thousands(f) for f in fields)
    return "comma" if known else None


def _value(row: Row, number: str, unit: Unit, decimal: Decimal | None) -> float:
    plain = re.sub(r"^([+-])\s+", r"\1", number.strip())
    if "," in plain:
        if decimal is None and may_be_thousands(plain):
            row.refuse(
                f"{plain!r} may be a decimal comma or thousands", "say --decimal comma, or write it with a point"
            )
        if decimal == "point":
            row.refuse(f"{plain!r} has a comma", "say --decimal comma, or write thousands without a mark")
        plain = plain.replace(",", ".")
    try:
        return measure(plain, unit)
    except InputError as error:
        _fail(row, error)


def _fail(row: Row, error: InputError) -> NoReturn:
    raise InputError(f"{row.source}, line {row.line}: {error}") from None
