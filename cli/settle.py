"""`oddplate settle`: the plate lies crooked on the table; bring its layout there."""

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.codes import CHECK_FAILED, DONE, INTERRUPTED, LEFT_OVER
from cli.interrupt import stop_on_interrupt
from cli.output import emit, json_option, near, progress, say, show, show_table, there

if TYPE_CHECKING:
    from nesting.drawing.writing import Writing
    from nesting.files.job import SearchEntry
    from nesting.layout import Layout
    from nesting.settle.outcome import Choices, NestAgain, Outcome
    from nesting.settle.reading import Reading
    from nesting.settle.table import Travel
    from nesting.settle.told import Told
    from nesting.shop import Shop
    from nesting.steps.made_with import MadeWith
    from nesting.units import Unit

ZEROS = ("lower-left", "lower-right", "upper-left", "upper-right", "middle")

HELP = """Find how the plate lies on the table and bring its layout there.

LAYOUT is a result folder or its layout.json.  Without --at the plate's corners are listed, and which to read out.
Jog the torch (off) over two or more of them and give the machine's readouts: the turn and the shift are found by least
squares, without scale; distances are compared with the drawing's, which shows a mistaken corner or the wrong plate.
Two corners prove only their distance; three well off one line also tell right side up.

With --out the layout is written in table coordinates, read back and checked, with a picture and the points of a dry
run.  Nothing is written where the readouts do not fit, parts could leave the plate, or cuts lie beyond the travel.

\b
Examples:
  oddplate settle demo-layout
  oddplate settle demo-layout --at A=100,50 --at D=1104.5,88 --at F=61.2,902.4 --out on-table
  oddplate settle demo-layout --at "A=3 15/16, 2" --at "B=43 1/4, 3 3/8" --units inch
  oddplate settle demo-layout --readouts readouts.txt --table 1500x3000 --nest-again --out on-table
"""


@click.command("settle", help=HELP)
@click.argument("layout_path", metavar="LAYOUT", type=click.Path(path_type=Path))
@click.option(
    "--at",
    "typed",
    multiple=True,
    metavar="CORNER=X,Y",
    help="A corner and its readout: A=100,50, or by the drawing's coordinates: 0,0=100,50.  Again for each.",
)
@click.option(
    "--readouts",
    metavar="FILE",
    type=click.Path(path_type=Path, allow_dash=True),
    help="Readouts, one a line: A X100 Y50; - for lines pasted in.",
)
@click.option(
    "--units", metavar="UNIT", help="Unit of plain numbers and of what is shown; default as the layout's run had it."
)
@click.option("--decimal", type=click.Choice(("point", "comma")), help="How decimals are written, if unclear.")
@click.option("--sigma", metavar="LENGTH", help="Scatter of a readout in x and in y, one deviation; default 0.5 mm.")
@click.option(
    "--limit",
    metavar="LENGTH",
    help="Most that a distance may be off; default what scatter and the outline's uncertainty explain, once in 1000.",
)
@click.option("--table", metavar="WxH", help="How far the machine travels, x and y; default the shop's.")
@click.option(
    "--zero", type=click.Choice(ZEROS), help="Where on the table its zero is; taken to be lower-left, and said so."
)
@click.option(
    "--shop", "shop_file", metavar="FILE", type=click.Path(path_type=Path), help="Shop file; default the run's."
)
@click.option("--nest-again", is_flag=True, help="Lay the same parts out anew on the plate as it lies.")
@click.option("--seconds", type=float, metavar="S", default=60.0, show_default=True, help="Time for --nest-again.")
@click.option("--steps", type=int, metavar="N", help="Search steps instead of time.")
@click.option("--seed", type=int, metavar="N", default=0, show_default=True, help="Seed of the search.")
@click.option("--threads", type=int, metavar="N", default=2, show_default=True, help="Threads of the search.")
@click.option("--out", metavar="FOLDER", type=click.Path(path_type=Path), help="Folder to write; else nothing is.")
@click.option("--force", is_flag=True, help="Replace the result folder of an earlier run.")
@click.option("--dxf", metavar="VERSION", default="R2000", show_default=True, help="R12, or R2000 to R2018.")
@click.option("--out-units", metavar="UNIT", help="Unit of the written drawing; default --units.")
@click.option("--contours", type=click.Choice(("as drawn", "polylines")), default="as drawn", show_default=True)
@click.option("--curves", type=click.Choice(("as drawn", "arcs")), default="as drawn", show_default=True)
@click.option("--blocks/--no-blocks", default=None, help="One block for each part; default as the layout's run had it.")
@click.option("--plate-edge/--no-plate-edge", default=True, help="Draw plate edge and keep-outs; default yes.")
@click.option("--labels/--no-labels", default=True, help="Write number and name on each piece; default yes.")
@click.option("--marks/--no-marks", default=True, help="Draw the parts' marks and texts; default yes.")
@click.option(
    "--mark-leads/--no-mark-leads", default=None, help="Mark pierce and lead-in; default as the layout's run had it."
)
@json_option
def command(layout_path: Path, typed: tuple[str, ...], readouts: Path | None, as_json: bool, **given: Any) -> int:
    """Settle one layout."""
    from nesting.settle.told import told
    from nesting.steps.settle_run import open_layout, settle_layout

    again = _search_entry(given)
    layout, before = open_layout(layout_path)
    shop = _shop(given["shop_file"], before)
    unit = _unit(given["units"], before.unit if before and given["shop_file"] is None else shop.unit)
    sigma_mm = _sigma(given["sigma"], unit)
    readings = _readings(layout, typed, readouts, unit, given["decimal"])
    if not readings:
        if given["out"] is not None:
            raise click.UsageError("nothing can be written without readouts; give --at CORNER=X,Y or --readouts FILE")
        return _corners(layout, unit, sigma_mm, as_json=as_json)
    made = _made(before, given, shop, unit, layout)
    choices = _choices(made, given, sigma_mm)
    if not given["nest_again"]:
        outcome = settle_layout(layout, readings, choices)
        return _tell(outcome, told(outcome), given, made, as_json=as_json)
    with stop_on_interrupt() as should_stop:
        outcome = settle_layout(layout, readings, replace(choices, again=_again(again, should_stop)))
        return _tell(outcome, told(outcome), given, made, as_json=as_json, interrupted=should_stop())


def _shop(path: Path | None, before: "MadeWith | None") -> "Shop":
    """The shop file given, else the shop that the layout's run had."""
    from nesting.files.shop_file import read_shop
    from nesting.shop import Shop

    if path is not None:
        return read_shop(path)
    return before.shop if before is not None else Shop()


def _unit(said: str | None, else_unit: "Unit") -> "Unit":
    from nesting.units import parse_unit

    return parse_unit(said) if said else else_unit


def _made(before: "MadeWith | None", given: dict[str, Any], shop: "Shop", unit: "Unit", layout: "Layout") -> "MadeWith":
    """What a sheet of the layout as it lies is to be made with."""
    from nesting.steps.made_with import MadeWith

    room = layout.clearances.keep_lead_room if before is None else before.mark_leads
    return MadeWith(
        layout_id="",
        title=before.title if before else layout.plate.name,
        shop=shop,
        unit=unit,
        paper=shop.paper if before is None or given["shop_file"] is not None else before.paper,
        drawings=before.drawings if before else (),
        mark_leads=room if given["mark_leads"] is None else given["mark_leads"],
        blocks=given["blocks"] if given["blocks"] is not None else before is not None and before.blocks,
    )


def _sigma(said: str | None, unit: "Unit") -> float:
    from nesting.errors import InputError
    from nesting.lengths import parse_length
    from nesting.settle.allowance import SIGMA_MM

    found = SIGMA_MM if said is None else parse_length(said, unit)
    if not found > 0.0:
        raise InputError(f"--sigma {said}: expected more than 0; a readout never hits a corner exactly")
    return found


def _readings(
    layout: "Layout", typed: tuple[str, ...], file: Path | None, unit: "Unit", decimal: Any
) -> tuple["Reading", ...]:
    from nesting.corner_names import named_corners
    from nesting.outline.pasted import Pasted
    from nesting.settle.reading import read_readings

    corners = named_corners(layout.plate)
    texts: list[Pasted] = [Pasted(name="--at", text="\n".join(typed))] if typed else []
    if file is not None:
        text = Pasted(name="standard input", text=sys.stdin.read()) if str(file) == "-" else Pasted.read(file)
        texts.append(text)
    found = tuple(r for text in texts for r in read_readings(text, corners, unit=unit, decimal=decimal))
    if texts and not found:
        raise click.UsageError(f"{texts[0].name} holds no readouts")
    return found


def _corners(layout: "Layout", unit: "Unit", sigma_mm: float, *, as_json: bool) -> int:
    from nesting.settle.to_read import to_read

    found = to_read(layout.plate, sigma_mm)
    if as_json:
        emit({**found.document, "exit_code": DONE})
        return DONE
    if found.corners:
        show_table(*found.table(unit))
    for line in found.lines:
        show(line)
    return DONE


def _choices(made: "MadeWith", given: dict[str, Any], sigma_mm: float) -> "Choices":
    from nesting.errors import InputError
    from nesting.lengths import parse_length
    from nesting.settle.outcome import Choices

    unit = made.unit
    travel, source = _travel(given["table"], given["zero"], made.shop, unit)
    limit_mm = None if given["limit"] is None else parse_length(given["limit"], unit)
    if limit_mm is not None and not limit_mm > 0.0:
        raise InputError(f"--limit {given['limit']}: expected more than 0; no distance is read off without any error")
    return Choices(
        sigma_mm=sigma_mm,
        limit_mm=limit_mm,
        travel=travel,
        travel_source=source,
        writing=_writing(given, made),
        mark_leads=made.mark_leads,
        unit=unit,
    )


def _travel(said: str | None, zero: Any, shop: "Shop", unit: "Unit") -> tuple["Travel | None", str]:
    from nesting.errors import InputError
    from nesting.lengths import parse_length
    from nesting.settle.table import Travel

    size, source = shop.table_mm, shop.sources["table"]
    if said is not None:
        sides = options.size_texts(said)
        if sides is None:
            raise InputError(f"--table {said}: expected travel in x and y, such as 1500x3000 or '60 in x 120 in'")
        size, source = (parse_length(sides[0], unit), parse_length(sides[1], unit)), "travel as given"
    if size is None:
        return None, source
    if not min(size) > 0.0:
        raise InputError(f"--table {said}: expected two lengths above 0")
    if zero is None:
        source += "; zero taken to be there, say --zero if it is not"
    return Travel(width_mm=size[0], height_mm=size[1], zero=zero or "lower-left"), source


def _writing(given: dict[str, Any], made: "MadeWith") -> "Writing":
    from typing import get_args

    from nesting.drawing.writing import Version, Writing
    from nesting.units import parse_unit

    if given["dxf"] not in get_args(Version):
        raise click.BadParameter(f"{given['dxf']!r} is not one of {', '.join(get_args(Version))}", param_hint="--dxf")
    kept = ("contours", "curves", "plate_edge", "labels", "marks")
    return Writing(
        version=given["dxf"],
        unit=parse_unit(given["out_units"]) if given["out_units"] else made.unit,
        blocks=made.blocks,
        outside=made.shop.outside,
        **{key: given[key] for key in kept},
    )


def _search_entry(given: dict[str, Any]) -> "SearchEntry":
    """The search's options, held to the bounds that a job's are."""
    from nesting.files.documents import make_document
    from nesting.files.job import SearchEntry

    keys = ("seed", "seconds", "steps", "threads")
    return make_document(options.without_none({key: given[key] for key in keys}), SearchEntry)


def _again(asked: "SearchEntry", should_stop: Callable[[], bool]) -> "NestAgain":
    def lay_out(plate: Any, demands: Any, layout: "Layout") -> "Layout":
        from nesting.search.engine import search

        with progress() as on_progress:
            return search(
                plate,
                demands,
                layout.clearances,
                seed=asked.seed,
                time_limit_s=asked.seconds,
                steps=asked.steps,
                threads=asked.threads,
                on_progress=on_progress,
                should_stop=should_stop,
            )

    return lay_out


def _tell(
    outcome: "Outcome",
    found: "Told",
    given: dict[str, Any],
    made: "MadeWith",
    *,
    as_json: bool,
    interrupted: bool = False,
) -> int:
    from nesting.steps.settle_run import write_settled

    code = CHECK_FAILED
    files: list[str] = []
    if outcome.released:
        left_over = outcome.nested_again and outcome.layout is not None and outcome.layout.left_over
        code = INTERRUPTED if interrupted else LEFT_OVER if left_over else DONE
        if given["out"] is not None:
            recovered, _ = write_settled(outcome, found, given["out"], made=made, force=given["force"])
            files = sorted(str(p) for p in there(given["out"]).iterdir())
            if recovered:
                say(f"note: {recovered}")
    for text in found.warnings:
        say(f"warning: {text}")
    for text in found.refused:
        say(f"oddplate: {text}")
    if code == CHECK_FAILED:
        say("oddplate: nothing was written")
    if as_json:
        emit({**found.document, "exit_code": code, "files": files})
        return code
    for table in found.tables:
        show_table(*table)
        show()
    for line in found.lines if outcome.layout is not None else ():
        show(line)
    if code != CHECK_FAILED:
        for line in found.dry_run:
            show(line)
        show(f"written to {near(given['out'].resolve())}" if files else "nothing written; give --out FOLDER")
    return code
