"""What all ways in share: options of what is known of the plate, reading of text, writing and telling."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from cli.codes import DONE
from cli.options import finite, is_plain
from cli.output import emit, say, show

if TYPE_CHECKING:
    from nesting.files.plate_file import StoredPlate
    from nesting.outline.captured import Captured
    from nesting.outline.pasted import Pasted
    from nesting.steps.capture import Known
    from nesting.units import Unit

F = TypeVar("F", bound=Callable[..., Any])

_KNOWN: Final = (
    click.option("--out", metavar="FILE.toml", type=click.Path(path_type=Path), help="Plate file to write."),
    click.option(
        "--picture", metavar="FILE", type=click.Path(path_type=Path), help="Picture; default beside --out, .png."
    ),
    click.option("--force", is_flag=True, help="Replace files that are there."),
    click.option("--name", metavar="TEXT", help="What the plate is called; default the file's name."),
    click.option("--thickness", metavar="LENGTH", help='Thickness, if known: 6, "1/4 in", "10 ga mild steel".'),
    click.option("--grade", metavar="TEXT", help="Grade, if known."),
    click.option("--heat", metavar="TEXT", help="Heat number, if known."),
    click.option("--certificate", metavar="TEXT", help="Number of the mill's test certificate, if known."),
    click.option("--grain", type=float, metavar="DEG", help="Direction of the grain, if known."),
    click.option("--parent", metavar="TEXT", help="Plate it was cut from, if known."),
    click.option("--place", metavar="TEXT", help="Where it stands."),
    click.option("--who", metavar="TEXT", help="Who measured it."),
    click.option("--when", metavar="YYYY-MM-DD", type=click.DateTime(["%Y-%m-%d"]), help="When it was measured."),
    click.option("--photo", metavar="FILE", help="A picture of it, to be found again."),
)
_TEXT: Final = (
    click.argument("file", required=False, type=click.Path(path_type=Path, allow_dash=True)),
    click.option("--typed", metavar="TEXT", help="The lines themselves, semicolons between them, instead of FILE."),
    click.option(
        "--units",
        metavar="UNIT",
        default="mm",
        show_default=True,
        help="Unit of plain numbers in the readings, and of what is told: mm or inch.",
    ),
)
KEYS: Final = ("name", "thickness", "grade", "heat", "certificate", "grain", "parent", "place", "who", "when", "photo")


def with_known(command: F) -> F:
    """Give a command the options of what is known of the plate, and where it is written."""
    return _with(command, _KNOWN)


def with_text(command: F) -> F:
    """Give a command the argument and options of text to read."""
    return _with(command, _TEXT)


def _with(command: F, added: tuple[Callable[[F], F], ...]) -> F:
    for one in reversed(added):
        command = one(command)
    return command


def pasted(file: Path | None, typed: str | None) -> "Pasted":
    """Return the text to read: a file, standard input for `-`, or what was typed."""
    from nesting.outline.pasted import Pasted

    if (file is None) == (typed is None):
        raise click.UsageError("give a FILE (- for lines pasted in), or --typed")
    if typed is not None:
        return Pasted(name="typed", text=typed.replace(";", "\n"))
    assert file is not None
    if str(file) == "-":
        return Pasted(name="standard input", text=sys.stdin.read())
    return Pasted.read(file)


def unit_of(text: str) -> "Unit":
    """Return the unit meant."""
    from nesting.units import parse_unit

    return parse_unit(text)


def length(text: str, unit: "Unit" = "mm") -> float:
    """Return a length of an option, 0 or more, mm."""
    from nesting.errors import InputError
    from nesting.lengths import parse_length

    found = parse_length(text, unit)
    if found < 0.0:
        raise InputError(f"{text}: expected 0 or more")
    return found


def known_of(given: dict[str, Any], unit: "Unit" = "mm") -> "Known":
    """Return what the options say of the plate.

    Beside readings in another unit a thickness must say its own: 0.25 could be either.
    """
    from nesting.errors import InputError
    from nesting.lengths import parse_thickness
    from nesting.steps.capture import Known

    said = {key: given[key] for key in KEYS if key not in ("thickness", "grain", "when")}
    thickness = given["thickness"]
    if thickness is not None and unit != "mm" and is_plain(thickness):
        raise InputError(
            f"--thickness {thickness}: the readings are in {unit}, a plain number here is in mm; write the unit beside "
            f'it, such as "{thickness} {unit}" or "{thickness} mm"'
        )
    return Known(
        **said,
        thickness_mm=None if thickness is None else parse_thickness(thickness, "mm"),
        grain_deg=finite(given["grain"], "--grain"),
        when=given["when"] and given["when"].date(),
    )


def finish(
    captured: "Captured", given: dict[str, Any], *, as_json: bool, source: Path | None, unit: "Unit" = "mm"
) -> int:
    """Write plate file and picture if asked for, and tell what came out, in the unit of the readings."""
    from nesting.steps.capture import stored

    stem = given["out"].stem if given["out"] else source.stem if source and str(source) != "-" else "plate"
    readings = source.name if source and str(source) != "-" else None
    kept = stored(captured, known_of(given, unit), name=stem, readings=readings, unit=unit)
    return tell(kept, captured, given, as_json=as_json, unit=unit)


def tell(
    kept: "StoredPlate", captured: "Captured | None", given: dict[str, Any], *, as_json: bool, unit: "Unit" = "mm"
) -> int:
    """Write a plate if asked for, and tell what it is and what to tape before it is cut."""
    from nesting.report.sheet.words import Lengths
    from nesting.steps.capture import SCHEMA, check_lines, corner_labels, document, picture_of, save

    out = given["out"]
    files: dict[str, str] = {}
    if out is not None:
        picture = picture_of(out, given["picture"])
        save(kept, out, picture=picture, corners=corner_labels(kept, captured), force=given["force"])
        files = {"file": str(out), "picture": str(picture)}
    for text in captured.warnings if captured else ():
        say(f"warning: {text}")
    for text in captured.notes if captured else ():
        say(f"note: {text}")
    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, **document(kept, captured), **files})
        return DONE
    plate, lengths = kept.plate, Lengths(unit=unit)
    area = f"{plate.area_mm2 / 304.8**2:.3f} ft2" if lengths.inches else f"{plate.area_mm2 / 1e6:.4f} m2"
    doubt = lengths.fine(plate.uncertainty_mm) if lengths.inches else f"{plate.uncertainty_mm:.2f} mm"
    show(f"{plate.name}: {area}, {len(plate.holes)} holes, {len(plate.keep_outs)} keep-outs")
    show(f"uncertain by {doubt} (95 % bound; {kept.capture.basis or plate.captured})")
    show("tape these before cutting: " + "; ".join(check_lines(kept, lengths)))
    show("check by dry run along the outline")
    show(f"wrote {out} and {files['picture']}" if files else "nothing written; give --out FILE.toml")
    return DONE
