"""What a job or the command line says of how drawings are to be read: layers, rules for marks, joining, limits."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Final, Literal, TypedDict, get_args

from pydantic import BeforeValidator, Field

from nesting.drawing.counting import MOST_ENTITIES
from nesting.drawing.marks import LayerRule, Role
from nesting.files.documents import Entry
from nesting.lengths import Distance
from nesting.tolerances import JOIN_WARN_MM

RoleWord = Literal["cut", "mark", "ignore", "bend", "etch", "centre", "text"]
ROLE_WORDS: Final[tuple[str, ...]] = get_args(RoleWord)


class RuleEntry(Entry):
    """What is drawn on such layers, with such line types and colours, is cut, kept as a mark, or left out."""

    layer: str = "*"
    line_type: str = "*"
    colour: str = "*"
    role: RoleWord

    @property
    def rule(self) -> LayerRule:
        """The rule as the reader takes it."""
        role: Role = "other" if self.role == "mark" else self.role
        return LayerRule(pattern=self.layer, linetype=self.line_type, colour=self.colour, role=role)


def _texts(value: object) -> object:
    return (value,) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value


Patterns = Annotated[tuple[str, ...], Field(strict=False), BeforeValidator(_texts)]
Rules = Annotated[tuple[RuleEntry, ...], Field(strict=False)]


class DrawingsEntry(Entry):
    """How all drawings of a job are read."""

    layers: Patterns = ()
    join: Distance | None = None
    rules: Rules = ()
    most_entities: Annotated[int, Field(ge=1)] = MOST_ENTITIES


class Choices(TypedDict, total=False):
    """Keyword arguments of `read_drawing`, the unit aside."""

    join_mm: float
    layers: Sequence[str]
    layer_rules: Sequence[LayerRule]
    most_entities: int


@dataclass(frozen=True, kw_only=True)
class Reading:
    """How one drawing is read; what is said of it alone comes before what is said of all."""

    layers: tuple[str, ...] = ()
    join_mm: float = JOIN_WARN_MM
    rules: tuple[LayerRule, ...] = ()
    most_entities: int = MOST_ENTITIES

    @property
    def choices(self) -> Choices:
        """The same as arguments of `read_drawing`."""
        return Choices(
            join_mm=self.join_mm, layers=self.layers, layer_rules=self.rules, most_entities=self.most_entities
        )

    @property
    def told(self) -> str:
        """What was said, for the report; empty where nothing was."""
        rules = [
            " ".join(f"{what} {pattern}" for what, pattern in _patterns(rule) if pattern != "*") + f" as {_word(rule)}"
            for rule in self.rules
        ]
        said = [f"cut layers {', '.join(self.layers)}"] if self.layers else []
        said += [f"ends joined up to {self.join_mm:g} mm"] if self.join_mm != JOIN_WARN_MM else []
        said += [f"rules {'; '.join(rules)}"] if rules else []
        return ", ".join(said)


def reading_of(
    general: DrawingsEntry, layers: Sequence[str] = (), join: float | None = None, rules: Sequence[RuleEntry] = ()
) -> Reading:
    """Return how a drawing is read that says its own `layers`, `join` and `rules`."""
    joins = [value for value in (join, general.join) if value is not None]
    return Reading(
        layers=tuple(layers or general.layers),
        join_mm=joins[0] if joins else JOIN_WARN_MM,
        rules=tuple(entry.rule for entry in (*rules, *general.rules)),
        most_entities=general.most_entities,
    )


def _patterns(rule: LayerRule) -> tuple[tuple[str, str], ...]:
    return (("layer", rule.pattern), ("line type", rule.linetype), ("colour", rule.colour))


def _word(rule: LayerRule) -> str:
    return "mark" if rule.role == "other" else rule.role
