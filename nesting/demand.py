"""What is wanted of a part: how many, turned how, how urgently."""

from dataclasses import dataclass
from typing import Literal

from nesting.part import Part


@dataclass(frozen=True, slots=True, kw_only=True)
class Turns:
    """The turns a part may be given.

    `any`: every angle.  `listed`: only `angles_deg`, as the drawing lies.  `grain`: the drawing's x axis along the
    plate's grain, either way round; a plate of unknown grain cannot serve it.
    """

    rule: Literal["any", "listed", "grain"] = "any"
    angles_deg: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if (self.rule == "listed") != bool(self.angles_deg):
            raise ValueError(f"rule {self.rule!r} with angles {self.angles_deg}: only 'listed' takes angles")

    @staticmethod
    def steps(step_deg: float) -> "Turns":
        """Every whole multiple of a step that divides a full turn."""
        count = round(360.0 / step_deg)
        if count < 1 or abs(count * step_deg - 360.0) > 1e-6:
            raise ValueError(f"a turn step must divide 360 degrees, got {step_deg}")
        return Turns(rule="listed", angles_deg=tuple(360.0 * i / count for i in range(count)))

    @staticmethod
    def fixed() -> "Turns":
        """As drawn only."""
        return Turns(rule="listed", angles_deg=(0.0,))


@dataclass(frozen=True, kw_only=True)
class Demand:
    """A part and what is wanted of it.

    `quantity` None means as many as fit.  Lower `priority` numbers come first.  `value` is what one piece is worth
    when not all fit, in any unit; None takes its net area.  Turning it over is off unless asked: a bent or etched part
    has a face side.  `reference` is the order line or the customer's own number, for labels.
    """

    part: Part
    quantity: int | None = 1
    turns: Turns = Turns()
    may_flip: bool = False
    priority: int = 1
    value: float | None = None
    reference: str | None = None

    def __post_init__(self) -> None:
        if self.quantity is not None and self.quantity < 1:
            raise ValueError(f"{self.part.id}: quantity must be 1 or more, got {self.quantity}")

    @property
    def worth(self) -> float:
        """Value of one piece."""
        return self.part.area_mm2 if self.value is None else self.value
