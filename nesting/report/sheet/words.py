"""Lengths as a cut sheet says them: for a tape in millimetres or fractions of an inch, for a readout in decimals."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from nesting.report.wording import UNKNOWN
from nesting.shop import InchFractions
from nesting.units import Unit, from_mm

MOST_LETTERS: Final = 120
"""A name of more is cut off in a list: a row must fit a page."""

_TENTHS: Final = 10
_DECIMALS: Final = 1000
_ROUNDING: Final = 1e-6
_ROUNDING_MM: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Lengths:
    """How lengths are said on a sheet; `fraction` is the least part of an inch, 16 or 32, 0 for decimals."""

    unit: Unit = "mm"
    fraction: InchFractions = 16

    @property
    def inches(self) -> bool:
        """True on an inch sheet."""
        return self.unit in ("inch", "foot")

    @property
    def sign(self) -> str:
        """Sign of the unit."""
        return "in" if self.inches else "mm"

    def number(self, length_mm: float, *, down: bool = False) -> str:
        """A length by tape or rule, without its unit: `1442`, `73.5`, `56 3/4`; `down` never says too much."""
        if self.inches:
            value, parts = from_mm(length_mm, "inch"), int(self.fraction or _DECIMALS)
        else:
            value, parts = length_mm, _TENTHS
        count = math.floor(value * parts + _ROUNDING) if down else round(value * parts)
        if self.inches and self.fraction:
            return _mixed(Fraction(count, parts))
        return f"{count / parts:.3f}" if self.inches else f"{count / parts:.1f}".removesuffix(".0")

    def text(self, length_mm: float | None) -> str:
        """A length by tape or rule with its unit."""
        return UNKNOWN if length_mm is None else f"{self.number(length_mm)} {self.sign}"

    def fine(self, length_mm: float | None) -> str:
        """A small length, which no tape reads, with its unit: thickness, kerf, gap."""
        if length_mm is None:
            return UNKNOWN
        return f"{length_mm / 25.4:.3f} in" if self.inches else f"{length_mm:.2f}".rstrip("0").rstrip(".") + " mm"

    def wide(self, area_mm2: float) -> str:
        """The area of plate with its unit, square metres or square feet."""
        told = f"{area_mm2 / 304.8**2:.2f}" if self.inches else f"{area_mm2 / 1e6:.4f}"
        return f"{told} {self.wide_sign}"

    @property
    def wide_sign(self) -> str:
        """Sign of the unit of the area of plate."""
        return "ft²" if self.inches else "m²"

    def long(self, length_mm: float | None) -> str:
        """A length of many metres or feet with its unit."""
        if length_mm is None:
            return UNKNOWN
        return f"{from_mm(length_mm, 'foot'):.1f} ft" if self.inches else f"{length_mm / 1000:.2f} m"

    def size(self, sides_mm: Sequence[float], *, down: bool = False) -> str:
        """Width and height, without their unit."""
        return " x ".join(self.number(side, down=down) for side in sides_mm)

    def rough(self, sides_mm: Sequence[float]) -> str:
        """Sides for a terminal or a label, without their unit: whole millimetres, or inches by tape, rounded down."""
        if self.inches:
            return self.size(sides_mm, down=True).replace("\u00a0", " ")
        return " x ".join(str(math.floor(side + _ROUNDING_MM)) for side in sides_mm)

    def readout(self, length_mm: float) -> str:
        """A coordinate as the machine's readout shows it."""
        text = f"{from_mm(length_mm, 'inch'):.3f}" if self.inches else f"{length_mm:.1f}"
        return text.removeprefix("-") if float(text) == 0.0 else text

    def place(self, at: tuple[float, float]) -> str:
        """A place as the readouts show it."""
        return f"X\u00a0{self.readout(at[0])} Y\u00a0{self.readout(at[1])}"


def _mixed(value: Fraction) -> str:
    whole, rest = divmod(abs(value), 1)
    sign = "-" if value < 0 else ""
    if rest == 0:
        return f"{sign}{whole}"
    return f"{sign}{whole}\u00a0{rest}" if whole else f"{sign}{rest}"


def shortened(text: str, most: int = MOST_LETTERS) -> str:
    """A name or number that would fill the sheet alone, cut off."""
    return text if len(text) <= most else f"{text[: most - 1]}…"


def runs(numbers: Sequence[int], joint: str = ", ") -> str:
    """Numbers in their order, three and more that follow one another, up or down, drawn together: `12-19, 3, 9-6`."""
    found: list[list[int]] = []
    for n in numbers:
        run = found[-1] if found else []
        step = run[1] - run[0] if len(run) > 1 else n - run[0] if run else 0
        if abs(step) == 1 and n == run[-1] + step:
            run.append(n)
        else:
            found.append([n])
    return joint.join(f"{r[0]}-{r[-1]}" if len(r) > 2 else joint.join(map(str, r)) for r in found)
