"""Layers of written drawings: names of our own, and colours that stay apart for colour-blind eyes.

The colours are DXF colour numbers picked along blue, orange and grey, with one magenta; their lightness differs too.
"""

from typing import Final

PART_OUTSIDE: Final = "PART_OUTSIDE"
PART_INSIDE: Final = "PART_INSIDE"
MARK: Final = "MARK"
PLATE_EDGE: Final = "PLATE_EDGE"
KEEP_OUT: Final = "KEEP_OUT"
LABEL: Final = "LABEL"
PIERCE_MARK: Final = "PIERCE_MARK"

COLOURS: Final[dict[str, int]] = {
    PART_OUTSIDE: 150,
    PART_INSIDE: 30,
    MARK: 131,
    PLATE_EDGE: 8,
    KEEP_OUT: 40,
    LABEL: 9,
    PIERCE_MARK: 214,
}
"""ACI by layer: azure, orange, light blue, dark grey, light orange, light grey, dark magenta.

Pure blue, ACI 5, is hard to see on the dark ground that most controllers and drawing programs have.
"""

LAYERS: Final = frozenset(COLOURS)
"""All layers of our own writing."""

STROKES: Final[dict[str, str]] = {
    PART_OUTSIDE: "#007fff",
    PART_INSIDE: "#ff7f00",
    MARK: "#7fdfff",
    PLATE_EDGE: "#414141",
    KEEP_OUT: "#ffbf00",
    LABEL: "#808080",
    PIERCE_MARK: "#8f007f",
}
"""The same colours for drawings that name them by red, green and blue; a white ground is likely there."""
