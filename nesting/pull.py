"""Where the parts of a layout are pulled to once all are placed, so that the rest of the plate stays in one piece."""

import math
from dataclasses import dataclass
from typing import Final

_NAMED: Final[dict[str, tuple[int, int]]] = {
    "left": (-1, 0),
    "right": (1, 0),
    "bottom": (0, -1),
    "top": (0, 1),
    "bottom-left": (-1, -1),
    "bottom-right": (1, -1),
    "top-left": (-1, 1),
    "top-right": (1, 1),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """An edge or a corner of the plate as drawn, by `name`, or a direction, `angle_deg` counter-clockwise from x."""

    name: str = ""
    angle_deg: float | None = None

    def __post_init__(self) -> None:
        if (self.name in _NAMED) == (self.angle_deg is not None):
            raise ValueError(f"{self.name!r} with angle {self.angle_deg}: give one of {', '.join(_NAMED)}, or an angle")

    def __str__(self) -> str:
        return self.name or f"{self.angle_deg:g} degrees"

    def direction(self, width: float, height: float) -> tuple[float, float]:
        """Return the unit vector to pull along on a plate of this size.

        A corner is pulled to so that the line that the parts end at is parallel to the plate's other diagonal.
        """
        if self.angle_deg is not None:
            turn = math.radians(self.angle_deg)
            return (math.cos(turn), math.sin(turn))
        x, y = _NAMED[self.name]
        size = math.hypot(x * height, y * width)
        return (x * height / size, y * width / size)


PULL_NAMES: Final = tuple(_NAMED)
BEST: Final = "best"
"""The word for the best of the four edges."""

EDGES: Final = tuple(Pull(name=n) for n in ("left", "right", "bottom", "top"))
"""The best of these is taken where nothing is said: the one that leaves most of the plate free at the start."""
