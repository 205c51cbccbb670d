"""Ways in by what is drawn or laid out already: an outline, a sheet that was cut, the leftover of a layout."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.codes import DONE
from cli.output import emit, finding_line, json_option, say, show
from cli.plate_options import finish, known_of, length, tell, with_known

if TYPE_CHECKING:
    from nesting.drawing.findings import Finding
    from nesting.files.plate_file import StoredPlate
    from nesting.shop import Shop


@click.command("drawing")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--uncertainty", metavar="LENGTH", required=True, help="How far the drawing may be off the steel; 0 if not at all."
)
@click.option("--units", metavar="UNIT", help="Unit of the drawing, if it does not say it.")
@click.option("--cut", is_flag=True, help="The drawing is of a sheet and what was cut from it: take what is left.")
@click.option("--kerf", metavar="LENGTH", default="0", help="With --cut: width of cut.")
@click.option("--notch", metavar="LENGTH", default="0", help="With --cut: how far leads reach from what was cut.")
@click.option(
    "--shop", metavar="FILE", type=click.Path(path_type=Path), help="With --cut: shop file with the sizes to keep."
)
@with_known
@json_option
def drawing(
    file: Path,
    uncertainty: str,
    units: str | None,
    cut: bool,
    kerf: str,
    notch: str,
    shop: Path | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Take the outline from a DXF or SVG drawing, or what is left of a sheet by the drawing of what was cut."""
    from nesting.outline.drawn import from_cut_drawing, from_drawing
    from nesting.units import parse_drawn_unit

    unit = parse_drawn_unit(units) if units else None
    if not cut:
        if kerf != "0" or notch != "0" or shop:
            raise click.UsageError("--kerf, --notch and --shop go with --cut")
        found, findings = from_drawing(file, uncertainty_mm=length(uncertainty), units=unit)
        _say_findings(file, findings)
        return finish(found, given, as_json=as_json, source=file)
    from nesting.steps.capture import stored

    sizes = _shop(shop)
    pieces, findings = from_cut_drawing(
        file,
        kerf_mm=length(kerf),
        notch_mm=length(notch),
        keep_mm=sizes.keep_mm,
        narrowest_mm=sizes.keep_width_mm,
        uncertainty_mm=length(uncertainty),
        units=unit,
    )
    _say_findings(file, findings)
    for note in pieces[0].notes:
        say(f"note: {note}")
    kept = [stored(p, known_of(given), name=file.stem, readings=file.name) for p in pieces]
    named = [replace(k, plate=replace(k.plate, name=f"{k.plate.name}-R{n}")) for n, k in enumerate(kept, start=1)]
    return _several(named if len(named) > 1 else kept, given, {}, as_json=as_json)


@click.command("leftover")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--shop", metavar="FILE", type=click.Path(path_type=Path), help="Shop file with the sizes to keep.")
@click.option(
    "--shear", "shears", multiple=True, metavar='"X,Y X,Y"', help="A straight cut through the skeleton; more than once."
)
@click.option("--notch", metavar="LENGTH", help="How far leads may have cut in beside the parts; default the lead-in.")
@click.option("--dxf", metavar="FILE", type=click.Path(path_type=Path), help="Draw the pieces and the shear lines too.")
@with_known
@json_option
def leftover(
    file: Path,
    shop: Path | None,
    shears: tuple[str, ...],
    notch: str | None,
    dxf: Path | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Take what remains when the layout in FILE is cut; several pieces become several plates.

    FILE is a result folder or its layout.json.  Pieces are kept that hold one of the shop's keep sizes.  Shear
    lines part the skeleton, each with a kerf of its own.  With several pieces the files are FILE-R1.toml,
    FILE-R2.toml and so on.
    """
    from nesting.drawing.plate_writer import write_plates
    from nesting.files.layout_file import load_layout
    from nesting.files.plate_file import CaptureEntry, StoredPlate, refuse_taken
    from nesting.outline.leftover import from_layout

    layout = load_layout(file)
    lines = [shear_line(text) for text in shears]
    found = from_layout(layout, _shop(shop), shears=lines, notch_mm=None if notch is None else length(notch))
    for note in found.notes:
        say(f"note: {note}")
    known = known_of(given)
    capture = CaptureEntry(
        way="leftover of a layout",
        basis=f"layout {layout.id}",
        readings=file.name,
        who=known.who,
        when=known.when,
        photo=known.photo,
        notes=found.notes,
    )
    from nesting.steps.capture import with_known as laid_over

    plates = [laid_over(p, replace(known, name=None)) for p in found.plates]
    if known.name:
        many = len(plates) > 1
        plates = [replace(p, name=f"{known.name}-R{k}" if many else known.name) for k, p in enumerate(plates, start=1)]
    if dxf is not None:
        refuse_taken(dxf, force=given["force"])
    code = _several([StoredPlate(plate=p, capture=capture) for p in plates], given, found.figures, as_json=as_json)
    if dxf is not None:
        write_plates(plates, dxf, shears=lines)
        say(f"wrote {dxf}")
    return code


def _say_findings(file: Path, findings: "Iterable[Finding]") -> None:
    for finding in findings:
        # What is mended is no news; a layer left out may hold an old cut-out.
        if finding.severity != "note" or finding.kind == "layers left out":
            say(finding_line(file.name, finding))


def _several(kept: "list[StoredPlate]", given: dict[str, Any], areas: dict[str, Any], *, as_json: bool) -> int:
    """Write every piece; files of several are told apart by R1, R2 and so on."""
    from nesting.files.plate_file import refuse_taken
    from nesting.steps.capture import SCHEMA, document, picture_of, save

    if len(kept) == 1 and not areas:
        return tell(kept[0], None, given, as_json=as_json)
    out, told, places = given["out"], [], []
    for number in range(1, len(kept) + 1):
        at = out and (out if len(kept) == 1 else out.with_name(f"{out.stem}-R{number}{out.suffix}"))
        seen = given["picture"]
        picture = seen and (seen if len(kept) == 1 else seen.with_name(f"{seen.stem}-R{number}{seen.suffix}"))
        places.append((at, at and picture_of(at, picture)))
    for path in (p for pair in places for p in pair if p is not None):
        refuse_taken(path, force=given["force"])
    for one, (at, picture) in zip(kept, places, strict=True):
        files = {}
        if at is not None:
            save(one, at, picture=picture, corners=(), force=given["force"])
            files = {"file": str(at), "picture": str(picture)}
        told.append({**document(one), **files})
    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, **areas, "plates": told})
        return DONE
    for piece in told:
        width, height = piece["size_mm"]
        written = f", wrote {piece['file']} and {piece['picture']}" if out else ""
        show(f"{piece['name']}: {width:.0f} x {height:.0f} mm over all, {piece['area_mm2'] / 1e6:.4f} m2, "
             f"uncertain by {piece['uncertainty_mm']:.2f} mm{written}")  # fmt: skip
    show("check by dry run along the outline" if out else "nothing written; give --out FILE.toml")
    return DONE


def _shop(path: Path | None) -> "Shop":
    from nesting.files.shop_file import read_shop
    from nesting.shop import Shop

    return read_shop(path) if path else Shop()


def shear_line(text: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Read a straight cut, `X,Y X,Y`, as its two ends."""
    ends = options.corners(text, "--shear")
    if len(ends) != 2:
        raise click.BadParameter(f"{text!r}: a shear goes from one point to another: X,Y X,Y", param_hint="--shear")
    (a, b), (c, d) = ((_signed(e[0]), _signed(e[1])) for e in ends)
    return (a, b), (c, d)


def _signed(text: str) -> float:
    from nesting.lengths import parse_length

    return parse_length(text, "mm")
