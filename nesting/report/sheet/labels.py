"""Labels for the parts of a layout, one for each placed piece, so that a part is known again and its steel traced."""

from typing import Final

from nesting.layout import Layout
from nesting.report.labels import Label
from nesting.report.sheet.words import Lengths, shortened
from nesting.report.wording import UNKNOWN

_MOST_CODED: Final = 60
"""So many letters of each, of any alphabet, fit one code together."""

_LINES: Final = ("order", "material", "heat", "certificate", "plate", "layout")


def part_labels(layout: Layout, lengths: Lengths) -> tuple[Label, ...]:
    """Return the labels in the order of the numbers; heat and certificate are told even where they are not known."""
    demands = {d.part.id: d for d in layout.demands}
    plate = layout.plate
    labels = []
    for placement in sorted(layout.placements, key=lambda p: p.number):
        demand = demands[placement.part_id]
        told = {
            "part": demand.part.name,
            "no.": str(placement.number),
            "order": demand.reference,
            "material": f"{lengths.fine(plate.thickness_mm)} {plate.grade or UNKNOWN}",
            "heat": plate.heat or UNKNOWN,
            "certificate": plate.certificate or UNKNOWN,
            "plate": plate.name,
            "layout": layout.id,
        }
        known = {key: value for key, value in told.items() if value}
        labels.append(
            Label(
                title=f"{placement.number} · {demand.part.name}",
                lines=tuple(f"{key} {known[key]}" for key in _LINES if key in known),
                code="\n".join(f"{key} {shortened(value, _MOST_CODED)}" for key, value in known.items()),
            )
        )
    return tuple(labels)
