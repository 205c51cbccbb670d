"""Ways in by what was measured: corners, edge walk, offsets, torch readouts."""

from pathlib import Path
from typing import Any

import click

from cli.output import json_option
from cli.plate_options import finish, length, pasted, unit_of, with_known, with_text


@click.command("corners")
@with_text
@click.option(
    "--sigma",
    metavar="LENGTH",
    default="1",
    show_default=True,
    help="How far x or y is usually off: two in three are nearer.",
)
@with_known
@json_option
def corners(file: Path | None, typed: str | None, units: str, sigma: str, as_json: bool, **given: Any) -> int:
    """Take corners by x and y, in order round the edge, from FILE or as typed.

    \b
    Lines:  x,y            a corner; fractions as 12 3/8
            x,y,arc        a point on the arc between the corners beside it
            x,y,bulge      a corner whose leaving edge is an arc (DXF bulge)
            hole           the lines after it are a hole; 'hole circle': points on a round one
            circle,x,y,d   a round hole by centre and diameter
            keep-out rust  a place no part may cover; clamp: no lead or rapid either
    """
    from nesting.outline.corners import from_corners

    unit = unit_of(units)
    found = from_corners(pasted(file, typed), unit=unit, sigma_mm=length(sigma))
    return finish(found, given, as_json=as_json, source=file, unit=unit_of(units))


@click.command("walk")
@with_text
@click.option(
    "--angles",
    type=click.Choice(("turn", "inside", "bearing")),
    default="turn",
    show_default=True,
    help="turn: left positive, at the edge's end; inside: between the edges; bearing: of the edge, clockwise from y.",
)
@click.option("--clockwise", is_flag=True, help="Walked clockwise, for inside angles.")
@click.option(
    "--sigma",
    metavar="LENGTH",
    default="1",
    show_default=True,
    help="How far a length is usually off: two in three are nearer.",
)
@click.option("--angle-sigma", type=float, metavar="DEG", default=0.5, show_default=True, help="The same of an angle.")
@with_known
@json_option
def walk(
    file: Path | None,
    typed: str | None,
    units: str,
    angles: Any,
    clockwise: bool,
    sigma: str,
    angle_sigma: float,
    as_json: bool,
    **given: Any,
) -> int:
    """Walk the edge: each line of FILE holds a length and the angle at its end.

    The closing error is told and shared out by the compass rule; one that is too big is refused, and the
    edges and angles that would explain it are named.
    """
    from nesting.outline.walk import from_walk

    found = from_walk(
        pasted(file, typed),
        unit=unit_of(units),
        angles=angles,
        length_sigma_mm=length(sigma),
        angle_sigma_deg=angle_sigma,
        clockwise=clockwise,
    )
    return finish(found, given, as_json=as_json, source=file, unit=unit_of(units))


@click.command("offsets")
@with_text
@click.option("--by-side", is_flag=True, help="Lines are in no order: right side forwards, then left side backwards.")
@click.option(
    "--sigma",
    metavar="LENGTH",
    default="1",
    show_default=True,
    help="How far a reading is usually off: two in three are nearer.",
)
@click.option(
    "--square-sigma", type=float, metavar="DEG", default=0.3, show_default=True, help="The same of the square's angle."
)
@with_known
@json_option
def offsets(
    file: Path | None,
    typed: str | None,
    units: str,
    by_side: bool,
    sigma: str,
    square_sigma: float,
    as_json: bool,
    **given: Any,
) -> int:
    """Take stations along a chalk line or straight edge, and square offsets from there to each corner.

    \b
    Lines:  350, 120      120 to the left of the line
            350, R 80     80 to the right
    """
    from nesting.outline.offsets import from_offsets

    found = from_offsets(
        pasted(file, typed),
        unit=unit_of(units),
        sigma_mm=length(sigma),
        square_sigma_deg=square_sigma,
        by_side=by_side,
    )
    return finish(found, given, as_json=as_json, source=file, unit=unit_of(units))


@click.command("readouts")
@with_text
@click.option(
    "--sigma",
    metavar="LENGTH",
    default="0.5",
    show_default=True,
    help="How far x or y is usually off: two in three are nearer.",
)
@click.option(
    "--closing-limit", metavar="LENGTH", default="1", show_default=True, help="Most between first point and its repeat."
)
@click.option("--touch-radius", metavar="LENGTH", default="0", help="Radius of a round tip that touched the edges.")
@click.option(
    "--decimal", type=click.Choice(("point", "comma")), help="How decimals are written, where lines do not tell."
)
@with_known
@json_option
def readouts(
    file: Path | None,
    typed: str | None,
    units: str,
    sigma: str,
    closing_limit: str,
    touch_radius: str,
    decimal: Any,
    as_json: bool,
    **given: Any,
) -> int:
    """Take machine positions as read off the controller, one a line, in the usual spellings.

    \b
    Lines:  X123.4 Y56.7        a corner; also 123.4, 56.7 or 3: 123.4 56.7 and others
            X123.4 Y56.7 arc    a point on the arc between the corners beside it
            edge                the lines after it are touches on one straight edge
            hole circle         the lines after it are points on a round hole
    Take the first point again at the end: it shows whether the plate moved.
    """
    from nesting.outline.readouts import from_readouts

    found = from_readouts(
        pasted(file, typed),
        unit=unit_of(units),
        sigma_mm=length(sigma),
        closing_limit_mm=length(closing_limit),
        touch_radius_mm=length(touch_radius),
        decimal=decimal,
    )
    return finish(found, given, as_json=as_json, source=file, unit=unit_of(units))
