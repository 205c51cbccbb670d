"""What a look at a part before cutting found, and what it has to know of the cutting."""

from dataclasses import dataclass, field
from typing import Any, Literal

from nesting.geometry.pose import Point
from nesting.tables import Process

FitKind = Literal[
    "small hole",
    "holes close together",
    "slot too tight for its tab",
    "narrow slot",
    "narrower than the cut",
    "thin web",
    "sharp point",
    "sharp inside corner",
    "small text",
    "over the pierce limit",
    "may tip",
    "tight bend",
    "bend along the grain",
    "grain not known",
]


@dataclass(frozen=True, kw_only=True)
class FitFinding:
    """One thing that may not come out of the cut, or off the table, as drawn.

    All are for a person to judge: `warning` where something is under a limit, `note` where it only may matter.
    `places` are in the part's own drawing, the worst first; `value_mm` is what was found there and `limit_mm`
    what `source` asks for, None where it is no length.  `question` asks the designer in plain words.
    """

    part_id: str
    kind: FitKind
    severity: Literal["note", "warning"]
    message: str
    places: tuple[Point, ...]
    value_mm: float | None
    limit_mm: float | None
    source: str
    question: str

    @property
    def place(self) -> Point | None:
        """The worst place."""
        return self.places[0] if self.places else None

    def as_json(self) -> dict[str, Any]:
        """Return plain values; keys carry their units."""
        return {
            "part_id": self.part_id,
            "kind": self.kind,
            "severity": self.severity,
            "message": self.message,
            "place_mm": list(self.place) if self.place else None,
            "places_mm": [list(p) for p in self.places],
            "value_mm": self.value_mm,
            "limit_mm": self.limit_mm,
            "source": self.source,
            "question": self.question,
        }


@dataclass(frozen=True, kw_only=True)
class Cutting:
    """How, and from what, parts are cut.  None is not known, and what depends on it is not looked at.

    `cut_tolerance_mm`, `pierce_limit_mm` and `least_hole_thicknesses` are the shop's own values, ahead of the
    tables.  `sources` says for `process` and `kerf_mm` where they came from.
    """

    process: Process
    thickness_mm: float | None
    kerf_mm: float | None
    amps: float | None = None
    material: str | None = None
    slat_pitch_mm: float | None = None
    cut_tolerance_mm: float | None = None
    pierce_limit_mm: float | None = None
    least_hole_thicknesses: float | None = None
    sources: dict[str, str] = field(default_factory=dict)

    @property
    def plate(self) -> str:
        """The plate in words."""
        return "plate of unknown thickness" if self.thickness_mm is None else f"{self.thickness_mm:g} mm plate"

    def as_json(self) -> dict[str, Any]:
        """Return plain values; keys carry their units."""
        return {
            "process": self.process,
            "amps": self.amps,
            "thickness_mm": self.thickness_mm,
            "kerf_mm": self.kerf_mm,
            "material": self.material,
            "slat_pitch_mm": self.slat_pitch_mm,
            "sources": dict(self.sources),
        }


SHOP_SOURCE = "the shop's own value"


def mm(value: float) -> str:
    """Write a length: two digits at the most, so that what differs by more than a hundredth looks different."""
    return f"{round(value, 2):g} mm"


def at(places: tuple[Point, ...]) -> str:
    """Write the first place, and how many there are."""
    if not places:
        return ""
    more = f" and {len(places) - 1} more" if len(places) > 1 else ""
    return f" at ({places[0][0]:.1f}, {places[0][1]:.1f}){more}"
