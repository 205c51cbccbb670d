"""The way in by tapes, with questions where the readings leave a side open."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.codes import BAD_INPUT, CHECK_FAILED
from cli.output import can_ask, emit, json_option, say, show_table
from cli.plate_options import finish, length, pasted, unit_of, with_known, with_text

if TYPE_CHECKING:
    from nesting.outline.captured import Captured
    from nesting.outline.sides import SideOpenError
    from nesting.outline.taped import Said
    from nesting.outline.tapes import LooseError
    from nesting.units import Unit


@click.command("tapes")
@with_text
@click.option(
    "--sigma",
    metavar="LENGTH",
    default="1",
    show_default=True,
    help="How far a tape is usually off: two in three are nearer.",
)
@click.option("--order", metavar="A,B,...", help="Corners round the edge, counter-clockwise; default by name.")
@click.option("--clockwise", is_flag=True, help="The corners' names run clockwise.")
@click.option("--base", metavar="P,Q", help="Points that are no corners, such as two nails in the floor.")
@click.option("--dents", metavar="E,G", help="Corners that point into the plate, no others; none for none.")
@click.option(
    "--side", "sides", multiple=True, metavar='"C D left of P Q"', help="On which side of a line corners lie."
)
@click.option("--leave-out", multiple=True, metavar="A-C", help="A tape not to be used.")
@click.option(
    "--next",
    "spares",
    type=click.IntRange(0, 50),
    default=1,
    show_default=True,
    metavar="N",
    help="How many tapes to propose next.",
)
@with_known
@json_option
def tapes(
    file: Path | None,
    typed: str | None,
    units: str,
    sigma: str,
    order: str | None,
    clockwise: bool,
    base: str | None,
    dents: str | None,
    sides: tuple[str, ...],
    leave_out: tuple[str, ...],
    spares: int,
    as_json: bool,
    **given: Any,
) -> int:
    """Adjust tape readings between lettered corners, one a line in FILE: A,B,1200 or A,B,47 1/4.

    Any set will do that holds the plate: edges, diagonals, tapes to two base points.  All readings are
    adjusted together by least squares; each tape's residual is told, the tape most likely misread, the deviation
    of every corner, and the tape to take next.  Corners go round the edge counter-clockwise by name.
    With a misread tape among the readings no plate file is written.

    \b
    Other lines:  hole circle P 160   a round cut-out of that diameter; tape its centre P
                  hole P Q R S        a cut-out with taped corners, in order
                  dents E             E points into the plate, no other corner does
    """
    from nesting.outline.sides import SideOpenError
    from nesting.outline.tapes import LooseError, from_tapes

    text = pasted(file, typed)
    said = _said(order, clockwise, base, dents, sides)
    unit, sigma_mm = unit_of(units), length(sigma)

    def take(more: "Said") -> "Captured":
        both = said.plus(more)
        return from_tapes(text, unit=unit, sigma_mm=sigma_mm, said=both, leave_out=leave_out, spares=spares)[0]

    try:
        found = _asked(take, as_json=as_json)
    except (LooseError, SideOpenError) as error:
        if not as_json:
            raise
        return _open(error)
    if not as_json:
        _show(found, unit)
    if found.figures["suspects"]:
        return _refused(found, as_json=as_json)
    return finish(found, given, as_json=as_json, source=file, unit=unit)


def _said(order: str | None, clockwise: bool, base: str | None, dents: str | None, sides: tuple[str, ...]) -> "Said":
    from nesting.errors import InputError
    from nesting.outline.taped import Said, read_statement

    said = Said(clockwise=clockwise)
    written = [
        f"{word} {text}" for word, text in (("order", order), ("base", base), ("dents", dents)) if text is not None
    ]
    for text in (*written, *sides):
        statement = read_statement(text)
        if statement is None:
            raise InputError(f'{text!r} says nothing of sides; write "C D left of P Q"')
        said = said.plus(statement)
    return said


def _asked(take: Any, *, as_json: bool) -> "Captured":
    """Adjust, and ask the person at the terminal for sides that are open until none is."""
    from nesting.outline.sides import SideOpenError
    from nesting.outline.taped import Said, read_statement

    said = Said()
    while True:
        try:
            found: Captured = take(said)
        except SideOpenError as error:
            if not can_ask(as_json) or not error.choices:
                raise
            say(str(error))
            statements = list(error.choices)
            for number, statement in enumerate(statements, start=1):
                say(f"  {number}: {error.choices[statement]}")
            chosen = click.prompt("Which is it", type=click.IntRange(1, len(statements)), err=True)
            said = said.plus(read_statement(statements[chosen - 1]) or Said())
        else:
            return found


def _open(error: "LooseError | SideOpenError") -> int:
    """Tell in the JSON document what would settle it: tapes to take, or what may be said of sides."""
    say(f"oddplate: {error}")
    told = {"take_next": list(getattr(error, "take_next", ())), "may_be_said": getattr(error, "choices", {})}
    emit({"schema": "oddplate-error/1", "exit_code": BAD_INPUT, "errors": [str(error)], **told})
    return BAD_INPUT


def _refused(found: "Captured", *, as_json: bool) -> int:
    from nesting.steps.capture import SCHEMA

    for text in found.warnings:
        say(f"warning: {text}")
    say("oddplate: a tape is misread; nothing was written")
    if as_json:
        told = {"way": found.way, "uncertainty_mm": round(found.uncertainty_mm, 4), "warnings": list(found.warnings)}
        emit({"schema": SCHEMA, "exit_code": CHECK_FAILED, **told, **found.figures})
    return CHECK_FAILED


def _show(found: "Captured", unit: "Unit") -> None:
    from nesting.units import from_mm

    named = {s["line"] for s in found.figures["suspects"]}
    inches = unit in ("inch", "foot")
    sign = "in" if inches else "mm"

    def told(value_mm: float, places: int, plus: str = "") -> str:
        return f"{from_mm(value_mm, 'inch'):{plus}.3f}" if inches else f"{value_mm:{plus}.{places}f}"

    rows = [
        [
            r["tape"],
            told(r["reading_mm"], 1),
            told(r["residual_mm"], 2, "+"),
            f"{r['checked']:.2f}",
            "misread?" if r["line"] in named else "",
        ]
        for r in found.figures["readings"]
    ]
    show_table(["tape", f"reading {sign}", f"residual {sign}", "checked", ""], rows)
    corners = [
        [c["name"], told(c["x_mm"], 1), told(c["y_mm"], 1), told(c["sd_mm"], 2)] for c in found.figures["corners"]
    ]
    show_table(["corner", f"x {sign}", f"y {sign}", f"deviation {sign}"], corners)
    if found.figures["take_next"]:
        say(f"tape to take next: {', '.join(found.figures['take_next'])}")
