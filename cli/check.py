"""`oddplate check`: does a written layout or drawing keep every clearance?"""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.codes import CHECK_FAILED, DONE
from cli.output import emit, finding_line, json_option, say, show

if TYPE_CHECKING:
    from nesting.checking.findings import CheckReport, Closest
    from nesting.clearances import Clearances
    from nesting.layout import Layout
    from nesting.plate import Plate
    from nesting.units import DrawnUnit


@click.command("check")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--layout", "layout_file", metavar="FILE", type=click.Path(path_type=Path), help="Layout of a drawing.")
@click.option(
    "--plate",
    "plate_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Plate file (.toml) or drawing of the plate, for a drawing without its edge.",
)
@click.option("--kerf", metavar="LENGTH", help="Width of cut; default 0.")
@click.option("--gap", metavar="LENGTH", help="Clear distance between finished parts.")
@click.option("--margin", metavar="LENGTH", help="Clear distance to the plate's edge; default 0.")
@click.option("--units", metavar="UNIT", help="Unit of the drawing, if it does not say it.")
@json_option
def command(
    file: Path,
    layout_file: Path | None,
    plate_file: Path | None,
    kerf: str | None,
    gap: str | None,
    margin: str | None,
    units: str | None,
    as_json: bool,
) -> int:
    """Check FILE, a result folder, a layout (.json) or a drawing (.dxf), and name the worst pair and distance.

    A drawing is compared with the layout beside it, or with --layout.  For a drawing alone give --gap
    (and --margin, --kerf).  Parts not on layers of ours are told apart by containment: on all layers that are
    cut, a contour in another is a hole.  The plate's edge is what lies on PLATE_EDGE, else the contour round all
    others; a drawing that holds parts only needs --plate, in the same coordinates.

    \b
    Examples:
      oddplate check demo-layout
      oddplate check demo-layout/layout.json
      oddplate check other.dxf --gap 6 --margin 10 --units mm
      oddplate check parts-only.dxf --plate offcut.toml --gap 6 --margin 10
    """
    from nesting.check import check_layout
    from nesting.errors import InputError
    from nesting.files.layout_file import load_layout

    given = {"kerf": kerf, "gap": gap, "margin": margin}
    if file.is_dir() and (file / "layout.dxf").is_file():
        file = file / "layout.dxf"
    is_layout = file.suffix.lower() == ".json"
    if is_layout:
        _refuse(given, layout_file, plate_file)
    if not file.is_file():
        told = "a folder without layout.dxf" if file.is_dir() else "no such file"
        raise InputError(f"{file}: {told}; check the name and the folder")
    if is_layout:
        report = check_layout(load_layout(file))
    else:
        beside = file.with_name("layout.json")
        if layout_file is None and plate_file is None and not any(given.values()) and beside.is_file():
            layout_file = beside
        report = _check_drawing(file, layout_file, plate_file, given, units)
    if as_json:
        emit({"schema": "oddplate-check/1", "file": str(file), **_document(report)})
    else:
        _show(file, report)
    return DONE if report.passed else CHECK_FAILED


def _refuse(given: dict[str, str | None], *more: object) -> None:
    if any(given.values()) or any(more):
        raise click.UsageError("a layout file holds its own clearances and plate; options go with a drawing")


def _check_drawing(
    file: Path,
    layout_file: Path | None,
    plate_file: Path | None,
    given: dict[str, str | None],
    units: str | None,
) -> "CheckReport":
    from nesting.check import check_drawing
    from nesting.errors import InputError
    from nesting.files.layout_file import load_layout
    from nesting.units import parse_unit

    unit = parse_unit(units) if units else None
    if layout_file is not None:
        if file.suffix.lower() == ".svg":
            text = "an SVG drawing does not share the layout's origin; check layout.dxf, or give --gap and --margin"
            raise InputError(f"{file}: {text}")
        _refuse(given, plate_file)
        layout: Layout = load_layout(layout_file)
        say(f"checked against {layout_file}")
        return check_drawing(file, layout=layout, units=unit)
    if given["gap"] is None:
        raise click.UsageError(f"{file}: no layout.json beside it; give --layout, or --gap (and --margin, --kerf)")
    plate = _plate(plate_file, unit) if plate_file else None
    return check_drawing(file, clearances=_clearances(given), plate=plate, units=unit)


def _plate(file: Path, unit: "DrawnUnit | None") -> "Plate":
    from nesting.steps.plate_from import plate_from

    plate, findings = plate_from(file, unit)
    for finding in findings:
        if finding.severity != "note":
            say(finding_line(file.name, finding))
    return plate


def _clearances(given: dict[str, str | None]) -> "Clearances":
    """Return the clearances given; merging cuts and breaking edges is the user's matter here."""
    from nesting.clearances import Clearances
    from nesting.lengths import parse_length

    lengths = {key: parse_length(text, "mm") if text else 0.0 for key, text in given.items()}
    return Clearances(
        kerf_mm=lengths["kerf"],
        gap_mm=lengths["gap"],
        margin_mm=lengths["margin"],
        merge_cuts=True,
        break_edge=True,
        sources=dict.fromkeys(("kerf_mm", "gap_mm", "margin_mm"), "command line"),
    )


def _document(report: "CheckReport") -> dict[str, Any]:
    document = asdict(report)
    del document["shown_in"]  # every key says its unit
    return {"exit_code": DONE if report.passed else CHECK_FAILED, **document}


def _show(file: Path, report: "CheckReport") -> None:
    for note in report.notes:
        say(_told(f"note: {note}", report))
    for finding in report.findings:
        show(_told(f"failed: {finding.message}", report))
    for name, closest in (("gap", report.worst_gap), ("margin", report.worst_margin)):
        if closest is not None:
            show(_told(_closest(name, closest), report))
    outcome = "every clearance holds" if report.passed else f"{len(report.findings)} faults"
    show(f"{file}: {report.parts_checked} parts checked, {outcome}")


def _told(text: str, report: "CheckReport") -> str:
    """A text for people; clearances missed by little show in four decimals of an inch."""
    from nesting.report.wording import in_unit

    return in_unit(text, report.shown_in, digits=4)


def _closest(name: str, closest: "Closest") -> str:
    pieces = " and ".join(str(p) for p in closest.pieces)
    against = f" and {closest.against}" if len(closest.pieces) == 1 else ""
    x, y = closest.place
    return (
        f"smallest {name}: {closest.found_mm:.3f} mm (needed {closest.needed_mm:g} mm) between {pieces}{against}"
        f" at ({x:.1f}, {y:.1f}) mm"
    )
