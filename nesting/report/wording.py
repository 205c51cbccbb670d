"""How values are written for people: digits and units of the millimetre and of the inch page."""

import re
from dataclasses import dataclass
from typing import Final, Literal

from nesting.units import Unit

Kind = Literal["length", "travel", "area", "mass"]
KG_PER_LB: Final = 0.45359237
"""Exact by the international yard and pound agreement of 1959."""

UNKNOWN: Final = "unknown"


@dataclass(frozen=True, kw_only=True)
class Measure:
    """A unit on the page: `size` in mm, mm2 or kg, and the digits shown after the point."""

    unit: str
    size: float
    digits: int

    def shown(self, value: float | None) -> float | None:
        """The value in this unit, rounded to the digits shown."""
        return None if value is None else round(value / self.size, self.digits) + 0.0

    def text(self, shown: float | None) -> str:
        """A value that is already in this unit."""
        return UNKNOWN if shown is None else f"{shown:.{self.digits}f}"

    def full(self, value: float | None) -> str:
        """A value in mm, mm2 or kg as text with its unit."""
        return UNKNOWN if value is None else f"{self.text(self.shown(value))} {self.unit}"


# The metric page shows what JSON and CSV hold, digit by digit, so that sums agree between all of them.
_METRIC: Final[dict[Kind, Measure]] = {
    "length": Measure(unit="mm", size=1.0, digits=1),
    "travel": Measure(unit="m", size=1000.0, digits=4),
    "area": Measure(unit="cm²", size=100.0, digits=3),
    "mass": Measure(unit="kg", size=1.0, digits=3),
}
_INCH: Final[dict[Kind, Measure]] = {
    "length": Measure(unit="in", size=25.4, digits=3),
    "travel": Measure(unit="in", size=25.4, digits=3),
    "area": Measure(unit="in²", size=25.4**2, digits=4),
    "mass": Measure(unit="lb", size=KG_PER_LB, digits=3),
}


def measures(unit: Unit) -> dict[Kind, Measure]:
    """Return the units of a page: inches and pounds for inch and foot, else metric."""
    return _INCH if unit in ("inch", "foot") else _METRIC


def short(unit: Unit) -> str:
    """Return the sign of a length unit."""
    return {"inch": "in", "foot": "ft"}.get(unit, unit)


def in_unit(text: str, unit: Unit, *, digits: int = 3) -> str:
    """Return a text with inches written beside its millimetres, for readers of an inch page."""
    if unit not in ("inch", "foot"):
        return text
    number = r"(?:(?<!\w)-)?\d+(?:\.\d+)?(?:e[-+]\d+)?"

    def inches(length: str) -> str:
        return f"{float(length) / 25.4:.{digits}f}"

    text = re.sub(rf"({number}) mm\b", lambda m: f"{m[0]} ({inches(m[1])} in)", text)
    place = rf"\(({number}), ({number})\) mm\b"
    return re.sub(place, lambda m: f"{m[0]} (({inches(m[1])}, {inches(m[2])}) in)", text)


def duration(seconds: float | None) -> str:
    """Return a time as hours, minutes and seconds."""
    if seconds is None:
        return UNKNOWN
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    return f"{hours} h {minutes:02d} min {rest:02d} s" if hours else f"{minutes} min {rest:02d} s"


def clock(seconds: float | None) -> str:
    """Return a time for a column of a table: 1:02:05."""
    if seconds is None:
        return UNKNOWN
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
