"""Open an SVG file and find its scale, or say in plain words why not.

Sizes, view boxes and units as in SVG 2 (W3C candidate recommendation 2018, chapters 7 and 8): one CSS inch is 96 px.
"""

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from xml.etree.ElementTree import Element, ParseError, XMLParser

from nesting.drawing.affine import Affine
from nesting.drawing.counting import too_many
from nesting.drawing.declared_units import ChosenUnit
from nesting.drawing.findings import Finding
from nesting.drawing.open_dxf import read_bytes
from nesting.errors import DrawingError, UnitsUnknownError
from nesting.units import DRAWN_MM_PER, PIXELS, DrawnUnit

PX_PER_INCH: Final = 96.0
_PHYSICAL: Final = ("mm", "cm", "in", "pt", "pc", "q")
_PX_PER: Final[dict[str, float]] = {
    "": 1.0, "px": 1.0, "em": 16.0, "ex": 8.0, "in": 96.0, "pt": 96.0 / 72, "pc": 16.0,
    "mm": 96.0 / 25.4, "cm": 960.0 / 25.4, "q": 24.0 / 25.4,
}  # fmt: skip
"""CSS Values and Units, section 6.2: 1 in = 96 px = 25.4 mm = 72 pt = 6 pc, 1 mm = 4 Q; a font of 16 px."""

_LENGTH: Final = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)\s*([a-z]*|%)")
_GZIP: Final = b"\x1f\x8b"


@dataclass(frozen=True, kw_only=True)
class SvgSize:
    """Size and view box of the outermost `svg` element; lengths in px, None where they are not said.

    `physical` is True if both (or the one that is said) are in millimetres, inches, points or the like.
    """

    width_px: float | None
    height_px: float | None
    view_box: tuple[float, float, float, float] | None
    physical: bool
    stretched: bool = False

    def unit(self, asked: DrawnUnit | None) -> ChosenUnit | None:
        """Return the unit to take, or None where only the user can tell.

        A physical size with a view box gives a true scale.  Without either, pixels are all there is, and programs
        do not agree on how many make an inch.
        """
        own = self._mm_per_unit()
        if asked is not None:
            mm = DRAWN_MM_PER[asked]
            differs = own is not None and abs(own - mm) > 1e-3 * mm
            text = f"read with 1 unit = {mm:.6g} mm as asked for, though its own size says {own:.6g} mm" if own else ""
            said = Finding(kind="unit", severity="warning", message=text)
            return ChosenUnit(
                unit=asked, mm_per_unit=mm, reason=f"{asked}, as asked for", findings=(said,) if differs else ()
            )
        if own is None:
            return None
        return ChosenUnit(unit="custom", mm_per_unit=own, reason=f"1 unit = {own:.6g} mm by its size and view box")

    def to_mm(self, unit: ChosenUnit | None) -> Affine:
        """Return the map from the file's units to millimetres, y up."""
        x0, y0, width, height = self.view_box or (0.0, 0.0, 0.0, self.height_px or 0.0)
        scale = unit.mm_per_unit if unit else 1.0
        sy = scale
        if self.stretched and unit is not None and unit.unit == "custom" and self.width_px and self.height_px:
            sy = scale * (self.height_px / height) / (self.width_px / width)
        return Affine(scale, 0.0, 0.0, -sy, -scale * x0, sy * (y0 + height))

    def unknown(self, path: Path, raw: tuple[float, float]) -> UnitsUnknownError:
        """Build the error that asks for the unit, with the drawing's size in each that is likely."""
        units: tuple[DrawnUnit, ...] = ("mm", *PIXELS, "inch")
        sizes = {u: (raw[0] * DRAWN_MM_PER[u], raw[1] * DRAWN_MM_PER[u]) for u in units}
        as_text = ", ".join(f"as {u} {w:.4g} x {h:.4g} mm" for u, (w, h) in sizes.items())
        hint = "96 px to the inch is the standard (px96); older and art programs took 90 or 72"
        message = (
            f"{path.name}: the drawing does not say its size in millimetres or inches, only pixels; read {as_text}; "
            f"give --units with one of {', '.join(units)} ({hint})"
        )
        return UnitsUnknownError(message, path=path, sizes=sizes, hint=hint)

    def _mm_per_unit(self) -> float | None:
        if not self.physical or self.view_box is None:
            return None
        _, _, width, height = self.view_box
        ratios = [s / v for s, v in ((self.width_px, width), (self.height_px, height)) if s and v > 0.0]
        if not ratios:
            return None
        return (ratios[0] if self.stretched else min(ratios)) * 25.4 / PX_PER_INCH


@dataclass(frozen=True, kw_only=True)
class OpenedSvg:
    """The tree of an SVG file, its size, content hash, and what was noticed."""

    root: Element
    size: SvgSize
    sha256: str
    findings: tuple[Finding, ...] = ()


def open_svg(path: Path, most_entities: int) -> OpenedSvg:
    """Open a file; raise `DrawingError` if it is missing, no SVG, damaged, or holds too many elements."""
    data = read_bytes(path)
    if data.startswith(_GZIP):
        raise DrawingError(f"{path.name}: this SVG is compressed; unpack it or save it as plain SVG")
    try:
        parser = XMLParser()
        parser.feed(data)
        root = parser.close()
    except (ParseError, ValueError, LookupError) as error:
        raise DrawingError(f"{path.name}: no sound SVG: {error}; save or download the drawing again") from None
    if local(root.tag) != "svg":
        raise DrawingError(f"{path.name}: this is {local(root.tag)!r}, not an SVG drawing; export the drawing itself")
    count = sum(1 for _ in root.iter())
    if count > most_entities:
        raise too_many(path.name, f"{count:,} elements", most_entities)
    return OpenedSvg(root=root, size=_size(root), sha256=hashlib.sha256(data).hexdigest())


def local(tag: object) -> str:
    """Return the name of an element or attribute without its namespace."""
    return str(tag).rsplit("}", 1)[-1]


def length_px(text: str | None, whole_px: float = 0.0, default: float = 0.0) -> float:
    """Return a length such as `10`, `3mm` or `50%` in px; `whole_px` is what percents are of.

    Raise `ValueError` for what is no length.
    """
    if text is None or not text.strip() or text.strip() == "auto":
        return default
    match = _LENGTH.fullmatch(text.strip().lower())
    factor = whole_px / 100.0 if match and match[2] == "%" else _PX_PER.get(match[2] if match else "no length")
    if match is None or factor is None or not abs(float(match[1])) < 1e9:
        raise ValueError(f"{text.strip()[:40]!r} is no usable length")
    return float(match[1]) * factor


def view_box_of(element: Element) -> tuple[float, float, float, float] | None:
    """Return the four numbers of a view box, None where there is none or its size is not above 0."""
    words = element.get("viewBox", "").replace(",", " ").split()
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        return None
    if len(numbers) != 4 or not (0.0 < numbers[2] < 1e9 and 0.0 < numbers[3] < 1e9):
        return None
    return (numbers[0], numbers[1], numbers[2], numbers[3])


def fitted(element: Element, width: float, height: float) -> Affine:
    """Return the map of an inner view box to its viewport: `preserveAspectRatio`, in the middle unless said."""
    box = view_box_of(element)
    if box is None or width <= 0.0 or height <= 0.0:
        return Affine()
    x0, y0, w, h = box
    sx, sy = width / w, height / h
    words = element.get("preserveAspectRatio", "xMidYMid").split()
    align = next((word for word in words if word not in ("defer", "meet", "slice")), "xMidYMid")
    if align != "none":
        sx = sy = max(sx, sy) if "slice" in words else min(sx, sy)
    part = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    dx = part.get(align[1:4], 0.0) * (width - sx * w) if align != "none" else 0.0
    dy = part.get(align[5:8], 0.0) * (height - sy * h) if align != "none" else 0.0
    return Affine(sx, 0.0, 0.0, sy, dx - sx * x0, dy - sy * y0)


def _size(root: Element) -> SvgSize:
    said = {key: root.get(key, "").strip() for key in ("width", "height")}
    found: dict[str, float | None] = {}
    for key, text in said.items():
        try:
            found[key] = None if "%" in text else length_px(text, default=0.0) or None
        except ValueError:
            found[key] = None
    told = [text.lower() for key, text in said.items() if found[key]]
    return SvgSize(
        width_px=found["width"],
        height_px=found["height"],
        view_box=view_box_of(root),
        physical=bool(told) and all(text.endswith(_PHYSICAL) for text in told),
        stretched=root.get("preserveAspectRatio", "").startswith("none"),
    )
