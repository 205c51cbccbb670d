"""How far finished parts must stay from one another and from the plate's edge."""

from dataclasses import dataclass, field

from nesting.errors import JobError


@dataclass(frozen=True, kw_only=True)
class Clearances:
    """Distances between finished edges, millimetres.

    The kerf lies in the waste: a cut takes the strip from 0 to `kerf_mm` beside the finished edge.
    `gap_mm` is the clear distance between two finished parts, `margin_mm` from a finished part to the plate's edge,
    to a plate hole and to a keep-out, before the outline's own uncertainty is added.
    With `keep_lead_room` every contour keeps a spot for its pierce, `lead_in_mm` from every finished edge.
    `sources` says for each field where its value came from.
    """

    kerf_mm: float
    gap_mm: float
    margin_mm: float
    lead_in_mm: float = 0.0
    merge_cuts: bool = False
    break_edge: bool = False
    keep_lead_room: bool = False
    sources: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        faults = []
        for name in ("kerf_mm", "gap_mm", "margin_mm", "lead_in_mm"):
            if not 0.0 <= getattr(self, name) < 1e5:
                faults.append(f"{name} must be 0 or more, got {getattr(self, name)}")
        if self.gap_mm < self.kerf_mm:
            faults.append(
                f"gap {self.gap_mm:g} mm is less than the kerf {self.kerf_mm:g} mm: the cut would bite into the "
                f"neighbour; give a gap of at least {2 * self.kerf_mm:g} mm plus a web that stands"
            )
        elif self.gap_mm < 2 * self.kerf_mm and not self.merge_cuts:
            faults.append(
                f"gap {self.gap_mm:g} mm is less than two kerfs ({2 * self.kerf_mm:g} mm): the cuts of neighbours "
                "would merge; widen the gap, or set merge_cuts if that is meant"
            )
        if self.margin_mm < self.kerf_mm and not self.break_edge:
            faults.append(
                f"margin {self.margin_mm:g} mm is less than the kerf {self.kerf_mm:g} mm: the cut could break out of "
                "the plate's edge; widen the margin, or set break_edge if that is meant"
            )
        if self.keep_lead_room and self.lead_in_mm <= 0.0:
            faults.append("lead-in room is to be kept and the lead-in is 0 mm long; give its length, lead_in")
        if faults:
            raise JobError("; ".join(faults))

    @property
    def web_mm(self) -> float:
        """Width of metal left standing between two cuts a gap apart; 0 where they merge."""
        return max(0.0, self.gap_mm - 2 * self.kerf_mm)

    def edge_mm(self, uncertainty_mm: float) -> float:
        """Distance to keep from the drawn edge of a plate whose outline may be wrong by `uncertainty_mm`."""
        return self.margin_mm + uncertainty_mm
