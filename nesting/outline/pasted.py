"""Readings as people type, paste and export them: lines, fields, lengths with fractions, angles."""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NoReturn

from nesting.errors import InputError
from nesting.lengths import parse_length
from nesting.units import Unit

_FEET: Final = re.compile(r"([+-]?)\s*(\d+)\s*(?:'|ft\b|feet\b)\s*-?\s*(.*?)\s*(?:\"|in|inch|inches)?")
_HYPHENED: Final = re.compile(r"(\d+)-(\d+/\d+)")
_FRACTION: Final = re.compile(r"\d+/\d+")
_DEGREES: Final = re.compile(
    r"([+-]?)(\d+(?:\.\d*)?)(?:[°\-:d ]+(\d+(?:\.\d*)?)['′m]?(?:[\-: ]*(\d+(?:\.\d*)?)[\"″s]?)?)?°?"
)
_COMMA: Final = re.compile(r"[+-]?\s*\d*,\d+(?![\d,.])")
_THOUSANDS: Final = re.compile(r"[+-]?\s*[1-9]\d{0,2},\d{3}(?![\d,.])")
_SIXTY: Final = 60
MOST_LINES: Final = 100_000


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line that holds something: its number from 1, its fields, and whether a comma is a decimal point in it.

    `commas_known` tells that some number of the text shows it: `1,200` alone may be thousands, beside `0,5` it is not.
    """

    source: str
    line: int
    text: str
    fields: tuple[str, ...]
    decimal_comma: bool
    commas_known: bool = False

    @property
    def is_heading(self) -> bool:
        """True for words over columns: no digit anywhere, and x, y or some longer word; `O,O` is a slip, not a word."""
        words = [f.lower() for f in self.fields]
        return not any(c.isdigit() for c in self.text) and any(len(w) > 1 or w in ("x", "y") for w in words)

    @property
    def is_named(self) -> bool:
        """True if the first field is a name in front of what was measured."""
        return len(self.fields) > 1 and bool(re.fullmatch(r"[A-Za-z]\w*", self.fields[0]))

    def refuse(self, found: str, todo: str) -> NoReturn:
        """Raise `InputError` with file, line, what was found and what to do."""
        raise InputError(f"{self.source}, line {self.line}: {found}; {todo}")

    def length(self, text: str, unit: Unit) -> float:
        """Return one field as millimetres; raise `InputError` with the line."""
        if self.decimal_comma and not self.commas_known and may_be_thousands(text):
            either = f"{text.replace(',', '.')} or {text.replace(',', '')}"
            self.refuse(f"{text!r} may be a decimal comma or thousands", f"write {either}")
        try:
            return measure(text, unit, decimal_comma=self.decimal_comma)
        except InputError as error:
            raise InputError(f"{self.source}, line {self.line}: {error}") from None

    def angle_deg(self, text: str) -> float:
        """Return one field as degrees: `12.5`, `126-55-17`, `126 55 17`; raise `InputError` with the line."""
        match = _DEGREES.fullmatch(text.strip().replace(",", ".") if self.decimal_comma else text.strip())
        if match is None:
            self.refuse(
                f"{text!r} is not an angle", "write degrees such as 90, -45.5 or 126-55-17 (degrees-minutes-seconds)"
            )
        sign, degrees, minutes, seconds = match.groups()
        for part, name, whole in ((minutes, "minutes", "a degree"), (seconds, "seconds", "a minute")):
            if part is not None and float(part) >= _SIXTY:
                self.refuse(f"{text!r} has {part} {name}", f"{whole} has {_SIXTY}; write degrees-minutes-seconds")
        value = float(degrees) + float(minutes or 0.0) / _SIXTY + float(seconds or 0.0) / _SIXTY**2
        return -value if sign == "-" else value


@dataclass(frozen=True, kw_only=True)
class Pasted:
    """Text with the name to call it by in messages."""

    name: str
    text: str

    @staticmethod
    def read(path: Path) -> "Pasted":
        """Read a text file, UTF-8 or as older spreadsheets write; raise `InputError` if it cannot be read."""
        try:
            raw = path.read_bytes()
        except FileNotFoundError:
            raise InputError(f"{path}: no such file; check the name and the folder") from None
        except OSError as error:
            raise InputError(f"{path}: cannot be read: {error.strerror or error}") from None
        if b"\0" in raw:
            raise InputError(f"{path}: is not plain text; save it as CSV or text (UTF-8)")
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("cp1252", errors="replace")
        return Pasted(name=str(path), text=text)

    def rows(self) -> Iterator[Row]:
        """Every line with something in it; `#` starts a comment."""
        lines = self.text.splitlines()
        if len(lines) > MOST_LINES:
            raise InputError(f"{self.name}: {len(lines)} lines; give the corners of one plate")
        texts = [(number, line.split("#")[0].strip()) for number, line in enumerate(lines, start=1)]
        found = [(number, text, *split(text)) for number, text in texts if text.strip(",;\t ")]
        known = any(_shows_decimals(f) for *_, fields, comma in found if comma for f in fields)
        for number, text, fields, comma in found:
            yield Row(source=self.name, line=number, text=text, fields=fields, decimal_comma=comma, commas_known=known)


def may_be_thousands(number: str) -> bool:
    """True for a number such as `1,200`, whose comma may part thousands as well as decimals."""
    return bool(_THOUSANDS.match(number))


def _shows_decimals(field: str) -> bool:
    return bool(_COMMA.match(field)) and not may_be_thousands(field)


def split(text: str) -> tuple[tuple[str, ...], bool]:
    """Return the fields of a line and whether commas in them are decimal points.

    Semicolons or tabs part fields if there are any, else commas, else blanks; a fraction stays with its whole.
    """
    for mark in (";", "\t"):
        if mark in text:
            return _trimmed(text.split(mark)), True
    if "," in text:
        return _trimmed(text.split(",")), False
    fields: list[str] = []
    for word in text.split():
        if _FRACTION.fullmatch(word.rstrip('"')) and fields and re.fullmatch(r"[+-]?\d+'?", fields[-1]):
            fields[-1] += f" {word}"
        else:
            fields.append(word)
    return tuple(fields), False


def _trimmed(fields: list[str]) -> tuple[str, ...]:
    kept = [_unquoted(f.strip()) for f in fields]
    while kept and not kept[-1]:
        kept.pop()
    return tuple(kept)


def _unquoted(field: str) -> str:
    """Take quotes off that stand round a field; those behind a number mean feet and inches."""
    for mark in ('"', "'"):
        if len(field) > 1 and field.startswith(mark) and field.endswith(mark):
            return field[1:-1].replace(mark * 2, mark).strip()
    return field


def measure(text: str, unit: Unit, *, decimal_comma: bool = False) -> float:
    """Return a length in mm: `1200`, `12 3/8`, `12-3/8 in`, `5' 3 1/2"`; raise `InputError` for anything else."""
    plain = text.strip().replace("−", "-").replace("”", '"').replace("’", "'").replace("½", " 1/2")
    if decimal_comma:
        plain = plain.replace(",", ".")
    plain = _HYPHENED.sub(r"\1 \2", plain)
    feet = _FEET.fullmatch(plain)
    if feet:
        sign, whole, inches = feet.groups()
        value = int(whole) * 304.8 + (parse_length(inches, "inch") if inches else 0.0)
        return -value if sign == "-" else value
    value = parse_length(plain, unit)
    assert math.isfinite(value)
    return value


def is_length(text: str, unit: Unit, *, decimal_comma: bool = False) -> bool:
    """True if a field can be read as a length."""
    try:
        measure(text, unit, decimal_comma=decimal_comma)
    except InputError:
        return False
    return True
