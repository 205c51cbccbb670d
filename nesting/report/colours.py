"""Colours of the pictures: told apart by colour-blind readers, and pale enough for black numbers."""

from typing import Final

PALETTE: Final = ("#56B4E9", "#E69F00", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7")
"""Okabe and Ito, Color Universal Design (2008), without black, which is kept for lines and text."""

_WHITE = 0.55


def pale(colour: str) -> str:
    """Mix a `#rrggbb` colour with white."""
    levels = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return "#" + "".join(f"{round(255 * _WHITE + (1 - _WHITE) * level):02x}" for level in levels)
