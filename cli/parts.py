"""`oddplate parts`: what is in drawings, and every trouble found."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.codes import BAD_INPUT, DONE
from cli.output import can_ask, emit, finding_json, finding_line, json_option, say, show, show_table
from cli.questions import ask_unit

if TYPE_CHECKING:
    from nesting.listing import Listing


@click.command("parts")
@click.argument("paths", metavar="FILES...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--units", multiple=True, metavar="[PATH=]UNIT", help="Unit of all drawings, of a file or a folder.")
@click.option("--thickness", metavar="LENGTH", help='Gives the mass: 6, "1/4 in", "10 ga mild steel".')
@click.option("--grade", metavar="TEXT", default="mild steel", show_default=True, help="Material, for the mass.")
@json_option
def command(paths: tuple[Path, ...], units: tuple[str, ...], thickness: str | None, grade: str, as_json: bool) -> int:
    """List parts, size, net area, holes, contours and cut length of drawings.

    FILES are DXF files or folders of them.  A drawing that cannot be read is named with the reason,
    the others are still listed, and the exit code is 2.

    \b
    Examples:
      oddplate parts parts/ --units parts/old=inch
      oddplate parts bracket.dxf --thickness "1/4 in" --json
    """
    from nesting.lengths import parse_thickness
    from nesting.listing import list_drawings

    listings = list_drawings(
        paths,
        unit_rules=options.unit_rules(units),
        ask_unit=ask_unit if can_ask(as_json) else None,
        thickness_mm=None if thickness is None else parse_thickness(thickness, "mm"),
        material=grade,
    )
    for listing in listings:
        _tell(listing)
    if as_json:
        emit({"schema": "oddplate-parts/1", "drawings": [_drawing_json(x) for x in listings]})
    else:
        _show(listings)
    return BAD_INPUT if any(x.refused for x in listings) else DONE


def _tell(listing: "Listing") -> None:
    if listing.refused:
        say(f"oddplate: {listing.refused}")
    for finding in listing.findings:
        say(finding_line(listing.path.name, finding))


def _show(listings: tuple["Listing", ...]) -> None:
    header = ("drawing", "part", "size mm", "net area cm2", "holes", "contours", "cut length mm", "mass kg")
    rows = [
        (
            listing.path.name,
            p.name,
            f"{p.width_mm:.1f} x {p.height_mm:.1f}",
            f"{p.area_cm2:.2f}",
            str(p.holes),
            str(p.contours),
            f"{p.cut_length_mm:.1f}",
            "-" if p.mass_kg is None else f"{p.mass_kg:.3f}",
        )
        for listing in listings
        for p in listing.parts
    ]
    show_table(header, rows)
    for listing in listings:
        if listing.unit:
            show(f"{listing.path.name}: read as {listing.unit} ({listing.unit_reason})")


def _drawing_json(listing: "Listing") -> dict[str, Any]:
    return {
        "file": str(listing.path),
        "refused": listing.refused or None,
        "unit": listing.unit or None,
        "unit_reason": listing.unit_reason or None,
        "findings": [finding_json(f) for f in listing.findings],
        "parts": [p.as_json() for p in listing.parts],
    }
