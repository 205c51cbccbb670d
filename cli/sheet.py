"""`oddplate sheet`: cut sheet and labels of a layout, made again."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.codes import DONE
from cli.output import emit, json_option, near, say, show

if TYPE_CHECKING:
    from nesting.steps.sheet_again import SheetsAgain, Wishes

HELP = """Make the cut sheet and the part labels of a layout again.

LAYOUT is a result folder of 'oddplate nest', or its layout.json.  Every run writes them already; this is for
other paper, another unit, rack ids, the heat of a bought sheet, or a run of old.  The shop is that of the run
unless --shop is given.

\b
Examples:
  oddplate sheet demo-layout --paper Letter --units inch --force
  oddplate sheet demo-layout --chalk R1=L-0042 --out print
  oddplate sheet plan/03-8-mm-sheet-1 --heat H-7731 --force
"""


@click.command("sheet", help=HELP)
@click.argument("layout", metavar="LAYOUT", type=click.Path(path_type=Path))
@click.option(
    "--paper", type=click.Choice(("A4", "Letter")), metavar="SIZE", help="A4 or Letter; default that of the run."
)
@click.option("--units", metavar="UNIT", help="mm or inch; default that of the run.")
@click.option(
    "--chalk", multiple=True, metavar="R1=NAME", help="What a leftover is called on the rack; as often as needed."
)
@click.option("--heat", metavar="HEAT", help="Heat of the plate, for a sheet that was bought since.")
@click.option("--name", metavar="TEXT", help="Name of the job on the sheet; default that of the run.")
@click.option("--shop", metavar="FILE", type=click.Path(path_type=Path), help="Shop file; default the shop of the run.")
@click.option(
    "--process",
    type=click.Choice(("plasma", "oxy-fuel", "laser", "waterjet")),
    metavar="NAME",
    help="plasma, oxy-fuel, laser or waterjet, for the cutting time; default that of the run.",
)
@click.option("--amps", type=click.FloatRange(min=0.0), metavar="A", help="Amperage, for the cutting time.")
@click.option("--labels/--no-labels", default=True, help="Write the labels too; default yes.")
@click.option(
    "--out", metavar="FOLDER", type=click.Path(path_type=Path), help="Where to write; default beside the layout."
)
@click.option("--force", is_flag=True, help="Replace files that are there.")
@json_option
def command(layout: Path, labels: bool, out: Path | None, force: bool, as_json: bool, **given: Any) -> int:
    """Write the sheets beside the layout, or where they are wanted."""
    from nesting.files.release import SHEETS
    from nesting.steps.sheet_again import layout_path, refuse_taken, sheets_again, write_sheets

    source = layout_path(layout)
    folder = source.parent if out is None else out
    names = SHEETS if labels else SHEETS[:2]
    refuse_taken(folder, names, force=force)
    made = sheets_again(source, _wishes(given))
    for note in made.notes:
        say(f"note: {note}")
    files = write_sheets(made.sheets, folder, names)
    if as_json:
        emit(_document(made, files))
        return DONE
    for file in files:
        show(f"written: {near(file.resolve())}")
    return DONE


def _wishes(given: dict[str, Any]) -> "Wishes":
    from nesting.steps.sheet_again import Wishes
    from nesting.units import parse_unit

    return Wishes(
        shop=given["shop"],
        process=given["process"],
        amps=given["amps"],
        title=given["name"],
        unit=parse_unit(given["units"]) if given["units"] else None,
        paper=given["paper"],
        heat=given["heat"],
        rack_ids=dict(_chalked(text) for text in given["chalk"]),
    )


def _chalked(text: str) -> tuple[str, str]:
    label, equals, name = (piece.strip() for piece in text.partition("="))
    if not (label and equals and name):
        raise click.BadParameter(f"{text!r} is not R1=NAME, such as R1=L-0042", param_hint="--chalk")
    return label, name


def _document(made: "SheetsAgain", files: tuple[Path, ...]) -> dict[str, Any]:
    return {
        "schema": "oddplate-sheet/1",
        "exit_code": DONE,
        "layout_id": made.layout.id,
        "plate": made.layout.plate.name,
        "paper": made.paper,
        "units": made.unit,
        "files": [str(file) for file in files],
        "parts": len(made.layout.placements),
        "kept": [r.label for r in made.report.remnants],
        "notes": list(made.notes),
    }
