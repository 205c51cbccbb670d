"""Layers of written drawings: names of our own, and colours that stay apart for colour-blind eyes.

The colours are DXF colour numbers numbers picked along blue, orange and grey, whose lightness differs as well.
"""

from typing import Final

PART_OUTSIDE: Final = "PART_OUTSIDE"
PART_INSIDE: Final = "PART_INSIDE"
MARK: Final = "MARK"
PLATE_EDGE: Final = "PLATE_EDGE"
KEEP_OUT: Final = "KEEP_OUT"
LABEL: Final = "LABEL"

COLOURS: Final[dict[str, int]] = {
    PART_OUTSIDE: 5,
    PART_INSIDE: 30,
    MARK: 131,
    PLATE_EDGE: 8,
    KEEP_OUT: 40,
    LABEL: 9,
}
"""ACI by layer: blue, orange, light blue, dark grey, light orange, light grey."""
