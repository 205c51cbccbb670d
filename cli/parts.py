"""`oddplate parts`: what is in drawings, and every trouble found."""

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from cli import fit, options
from cli.codes import BAD_INPUT, DONE
from cli.output import can_ask, emit, finding_json, finding_line, json_option, say, show, show_table
from cli.questions import ask_unit

if TYPE_CHECKING:
    from nesting.files.reading import Reading
    from nesting.steps.listing import Listing, PartLine
    from nesting.units import Unit

_MOST_TOLD: Final = 20


@click.command("parts")
@click.argument("paths", metavar="FILES...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--units", multiple=True, metavar="[PATH=]UNIT", help="Unit of all drawings, of a file or a folder.")
@options.with_reading_options
@click.option("--thickness", metavar="LENGTH", help='Gives mass and fit to cut: 6, "1/4 in", "10 ga mild steel".')
@click.option("--grade", metavar="TEXT", help="Material, for the mass; default mild steel.")
@fit.with_fit_options
@click.option(
    "--pictures",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Sheet of pictures, one for each part, troubles marked: .png, .pdf or .svg.",
)
@click.option("--force", is_flag=True, help="Replace earlier pictures and questions.")
@json_option
def command(
    paths: tuple[Path, ...],
    units: tuple[str, ...],
    thickness: str | None,
    grade: str | None,
    pictures: Path | None,
    force: bool,
    as_json: bool,
    **given: Any,
) -> int:
    """List parts, size, net area, holes, contours and cut length of drawings.

    FILES are DXF and SVG files or folders of them.  A drawing that cannot be read is named with the reason,
    the others are still listed, and the exit code is 2.

    \b
    Examples:
      oddplate parts parts/ --units parts/old=inch
      oddplate parts bracket.dxf --thickness "1/4 in" --json
      oddplate parts bracket.dxf --thickness 6 --amps 45 --questions bracket-questions.html
      oddplate parts sheet.svg --layer "CUT*" --rule "notes=ignore" --pictures sheet.png
    """
    from nesting.lengths import parse_thickness
    from nesting.steps.listing import ASSUMED_MATERIAL, list_drawings, stopped

    fit.refuse(given, thickness=thickness, force=force)
    if pictures is not None:
        _require_free(pictures, force)
    thickness_mm = None if thickness is None else parse_thickness(thickness, "mm")
    listings = list_drawings(
        paths,
        unit_rules=options.unit_rules(units),
        reading=_reading(given),
        ask_unit=ask_unit if can_ask(as_json) else None,
        thickness_mm=thickness_mm,
        material=grade or ASSUMED_MATERIAL,
    )
    parts = [part for listing in listings for part in listing.parts]
    looked = fit.look(parts, given, thickness_mm=thickness_mm, grade=grade)
    for listing in listings:
        _tell(listing)
    if pictures is not None:
        _draw(listings, pictures)
    if as_json:
        drawings = [_drawing_json(x) for x in listings]
        emit({"schema": "oddplate-parts/1", "drawings": drawings, **fit.fit_json(looked)})
    else:
        _show(listings, looked.shop.unit if looked else "mm")
        fit.show_fit(looked)
    fit.write_questions(looked, given["questions"], grade=grade, stopped=stopped(listings))
    return BAD_INPUT if any(x.refused for x in listings) else DONE


def _reading(given: dict[str, Any]) -> "Reading":
    from nesting.files.documents import make_document
    from nesting.files.reading import DrawingsEntry, reading_of

    entry = options.drawings_entry(given["layers"], given["join"], given["layer_rules"], given["most_entities"])
    return reading_of(make_document(options.without_none(entry), DrawingsEntry))


def _require_free(pictures: Path, force: bool) -> None:
    if pictures.suffix.lower() not in (".png", ".pdf", ".svg"):
        raise click.BadParameter(
            f"{pictures.name}: give a name that ends in .png, .pdf or .svg", param_hint="--pictures"
        )
    if pictures.exists() and not force:
        raise click.BadParameter(f"{pictures} exists; --force replaces it", param_hint="--pictures")


def _draw(listings: tuple["Listing", ...], pictures: Path) -> None:
    from nesting.steps.listing import picture_sheet

    drawn, whole = picture_sheet(listings, pictures)
    say(f"{drawn} {'picture' if drawn == 1 else 'pictures'} written to {pictures}")
    if drawn < whole:
        say(f"note: {whole - drawn} more do not go on one picture; a .pdf takes all")


def _tell(listing: "Listing") -> None:
    if listing.refused:
        say(f"oddplate: {listing.refused}")
    told: Counter[str] = Counter()
    for finding in listing.findings:
        told[finding.kind] += 1
        if told[finding.kind] <= _MOST_TOLD:
            say(finding_line(listing.path.name, finding))
    for kind, count in told.items():
        if count > _MOST_TOLD:
            say(f"note: {listing.path.name}: {count - _MOST_TOLD} more of kind {kind!r}; --json lists them all")


def _show(listings: tuple["Listing", ...], unit: "Unit") -> None:
    from nesting.report.wording import measures

    by = measures(unit)
    length, area, mass = by["length"], by["area"], by["mass"]
    header = (
        *("drawing", "no.", "part", f"size {length.unit}", f"net area {area.unit}", "holes", "contours"),
        *(f"cut length {length.unit}", f"mass {mass.unit}", "same as"),
    )
    rows = [
        (
            listing.path.name,
            str(p.number),
            p.name,
            " x ".join(length.text(length.shown(side)) for side in (p.width_mm, p.height_mm)),
            f"{p.area_mm2 / area.size:.2f}",
            str(p.holes),
            str(p.contours),
            length.text(length.shown(p.cut_length_mm)),
            "-" if p.mass_kg is None else mass.text(mass.shown(p.mass_kg)),
            _same(p, listing),
        )
        for listing in listings
        for p in listing.lines
    ]
    if rows:
        show_table(header, rows)
    for listing in listings:
        if listing.unit:
            show(f"{listing.path.name}: read as {listing.unit} ({listing.unit_reason})")


def _same(line: "PartLine", listing: "Listing") -> str:
    same = line.same_as
    if same is None:
        return ""
    file = "" if same.file == str(listing.path) else f"{Path(same.file).name} "
    return f"{file}no. {same.number}{', mirrored' if same.mirrored else ''}"


def _drawing_json(listing: "Listing") -> dict[str, Any]:
    return {
        "file": str(listing.path),
        "refused": listing.refused or None,
        "unit": listing.unit or None,
        "unit_reason": listing.unit_reason or None,
        "findings": [finding_json(f) for f in listing.findings],
        "parts": [p.as_json() for p in listing.lines],
    }
