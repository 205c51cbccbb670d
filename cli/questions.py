"""Questions that only a person at a terminal can answer."""

from typing import TYPE_CHECKING

import click

from cli.output import can_ask, say

if TYPE_CHECKING:
    from nesting.errors import UnitsUnknownError
    from nesting.steps.order import Questions
    from nesting.units import DrawnUnit


def questions(*, as_json: bool, accept_unknown_grade: bool) -> "Questions":
    """Return who answers: the person at the terminal, or the options alone where there is none."""
    from nesting.steps.order import Questions

    if not can_ask(as_json):
        return Questions(accept_unknown_grade=lambda _part, _grade: accept_unknown_grade)
    return Questions(
        unit=ask_unit,
        accept_unknown_grade=lambda part, grade: accept_unknown_grade or _ask_grade(part, grade),
    )


def ask_unit(error: "UnitsUnknownError") -> "DrawnUnit | None":
    """Show a drawing's size in both units and ask which is meant; None leaves it refused."""
    from nesting.units import parse_drawn_unit

    say(f"{error.path}: the drawing does not say its unit.")
    for unit, (width, height) in error.sizes.items():
        say(f"  read as {unit}: {width:.1f} x {height:.1f} mm")
    if error.hint:
        say(f"  {error.hint}")
    choice = click.Choice([*error.sizes, "neither"])
    answer = click.prompt("Which unit", type=choice, default="neither", err=True)
    return None if answer == "neither" else parse_drawn_unit(answer)


def _ask_grade(part: str, grade: str) -> bool:
    return click.confirm(
        f"{part} asks for grade {grade} and the plate's grade is not known. Cut it from this plate?",
        default=False,
        err=True,
    )
