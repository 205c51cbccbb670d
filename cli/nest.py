"""`oddplate nest`: one job, from drawings to a checked layout."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.codes import DONE, INTERRUPTED, LEFT_OVER
from cli.interrupt import stop_on_interrupt
from cli.output import (
    emit,
    finding_json,
    finding_line,
    json_option,
    near,
    progress,
    say,
    show,
    show_table,
    tell_fit,
    there,
)
from cli.questions import questions
from cli.rack_options import from_rack

if TYPE_CHECKING:
    from collections.abc import Sequence

    from nesting.files.job import Job
    from nesting.layout import Pulled
    from nesting.report.facts import RemnantRow
    from nesting.steps.order import Order
    from nesting.steps.run import Result
    from nesting.units import Unit

_OUTPUT = ("contours", "curves", "blocks", "plate_edge", "labels", "marks", "mark_leads", "svg")

HELP = """Lay parts out on a plate, check, and write drawing and report into one folder.

Takes a job file, or the same things as options; options given beside a job file win over it.
Lengths are millimetres unless a unit is written: 6, "1/4 in", "12 3/8 in".

\b
Examples:
  oddplate nest job.toml
  oddplate nest --plate leftover.dxf --part bracket.dxf:12 --part ring.dxf:2 \\
                --kerf 1.6 --gap 8 --margin 10 --thickness 6
  oddplate nest --plate 1250x2500 --part washer.dxf:fill --process plasma --amps 45 \\
                --thickness "1/4 in" --units inch
"""


@click.command("nest", help=HELP)
@click.argument("job_file", metavar="[JOB.toml]", required=False, type=click.Path(path_type=Path))
@click.option("--plate", metavar="FILE|WxH", help="Plate file (.toml), drawing, or size: 1250x2500.")
@click.option("--from-rack", metavar="ID", help='Piece of the rack, or "choose" for the one that serves best.')
@click.option("--rack", metavar="FILE|URL", envvar="ODDPLATE_RACK", help="Where the rack is; see 'oddplate rack'.")
@click.option("--take", is_flag=True, help="Set the piece of the rack aside for this job before anything is laid out.")
@click.option("--corners", metavar='"X,Y X,Y ..."', help="Plate by its corners, in order; X,Y,BULGE for an arc.")
@click.option("--hole", "holes", multiple=True, metavar='"X,Y X,Y ..."', help="Hole in the plate, by corners.")
@click.option("--keep-out", "keep_outs", multiple=True, metavar='"X,Y X,Y ..."', help="Place no part may cover.")
@click.option("--part", "parts", multiple=True, metavar="FILE:QTY", help="Part drawing and how many, or FILE:fill.")
@click.option(
    "--for",
    "rules",
    nargs=2,
    multiple=True,
    metavar="FILE KEY=VALUE",
    help="Key of one part (FILE as in --part, or all): turns=any|fixed|grain|90, flip=true, priority=2, "
    "value=5, units=inch, thickness=6, grade=S235, tab_thickness=6, bend_radius=9, name=Bracket, only=2, "
    "layers=CUT*, join=1.",
)
@click.option("--units", multiple=True, metavar="[PATH=]UNIT", help="Unit of all drawings, of a file or a folder.")
@options.with_reading_options
@click.option("--kerf", metavar="LENGTH", help="Width of cut.")
@click.option("--gap", metavar="LENGTH", help="Clear distance between finished parts.")
@click.option("--margin", metavar="LENGTH", help="Clear distance to the plate's edge, holes and keep-outs.")
@click.option("--lead-in", metavar="LENGTH", help="Length of lead-ins; narrower leftover is scrap.")
@click.option("--keep-lead-room", is_flag=True, default=None, help="Keep room for pierce and lead-in of each cut.")
@click.option("--merge-cuts", is_flag=True, default=None, help="Allow a gap below two kerfs.")
@click.option("--break-edge", is_flag=True, default=None, help="Allow a margin below the kerf.")
@click.option("--process", metavar="NAME", help="plasma, oxy-fuel, laser or waterjet; gives kerf and spacing.")
@click.option("--amps", type=float, metavar="A", help="Amperage, for the cut chart.")
@click.option("--thickness", metavar="LENGTH", help='Plate thickness: 6, "1/4 in", "10 ga mild steel".')
@click.option("--grade", metavar="TEXT", help="Plate grade, if known.")
@click.option("--heat", metavar="TEXT", help="Plate heat number, if known.")
@click.option("--certificate", metavar="TEXT", help="Number of the plate's test certificate, if known.")
@click.option("--plate-name", metavar="TEXT", help="What the plate is called.")
@click.option("--parent", metavar="TEXT", help="Plate that this leftover was cut from, if known.")
@click.option("--place", metavar="TEXT", help="Where the plate stands.")
@click.option("--grain", type=float, metavar="DEG", help="Direction of the plate's grain, if known.")
@click.option("--uncertainty", metavar="LENGTH", help="How far the plate's outline may be wrong; added to margin.")
@click.option("--accept-unknown-grade", is_flag=True, help="Cut a part that asks for a grade from unknown plate.")
@click.option("--shop", metavar="FILE", help="Shop file; see 'oddplate shop'.")
@click.option("--name", metavar="TEXT", help="Name of the job; default its file's, else the result folder's.")
@click.option("--seconds", type=float, metavar="S", help="Time for the search; default 60.")
@click.option(
    "--steps", type=int, metavar="N", help="Search steps instead of time: the same job gives the same layout again."
)
@click.option("--seed", type=int, metavar="N", help="Seed of the search; default 0.")
@click.option(
    "--pull-to",
    "pull_to",
    multiple=True,
    metavar="PLACE",
    help="Edge (left), corner (bottom-left) or angle in degrees that the parts are pulled to once all are placed; "
    "given more than once, the best of these; default: the best edge.",
)
@click.option("--threads", type=int, metavar="N", help="Threads of the search; default 2.")
@click.option("--out", metavar="FOLDER", help="Result folder; default JOB-layout beside the job.")
@click.option("--dxf", metavar="VERSION", help="R2000 (default), up to R2018, or R12 for old controllers.")
@click.option("--out-units", metavar="UNIT", help="Unit of the written drawing: mm or inch.")
@click.option("--contours", metavar="HOW", help='"as drawn" (default) or polylines, which carry the cut direction.')
@click.option("--curves", metavar="HOW", help='Splines and ellipses "as drawn" (default) or as arcs.')
@click.option("--blocks/--no-blocks", default=None, help="One block for each part, inserted in its places; default no.")
@click.option("--plate-edge/--no-plate-edge", default=None, help="Draw plate edge and keep-outs; default yes.")
@click.option("--labels/--no-labels", default=None, help="Write number and name on each piece; default yes.")
@click.option("--marks/--no-marks", default=None, help="Draw the parts' marks and texts; default yes.")
@click.option("--mark-leads/--no-mark-leads", default=None, help="Mark pierce and lead-in of each contour; default no.")
@click.option("--svg/--no-svg", default=None, help="Write the drawing as SVG in true size too; default no.")
@click.option("--paper", metavar="SIZE", help="A4 or Letter, for the report.")
@click.option("--force", is_flag=True, help="Replace the result folder of an earlier run.")
@json_option
def command(
    job_file: Path | None,
    units: tuple[str, ...],
    accept_unknown_grade: bool,
    force: bool,
    as_json: bool,
    **given: Any,
) -> int:
    """Run one job."""
    from nesting.steps.order import resolve

    job = _job(job_file, units, given)
    asked = questions(as_json=as_json, accept_unknown_grade=accept_unknown_grade)
    take = from_rack(given["rack"], accept_unknown_grade=accept_unknown_grade, take=given["take"])
    return run_order(resolve(job, questions=asked, from_rack=take), force=force, as_json=as_json)


def _job(job_file: Path | None, units: tuple[str, ...], given: dict[str, Any]) -> "Job":
    from nesting.files.job import make_job, read_job

    tables = _tables(given)
    rules = options.unit_rules(units)
    if job_file is not None and job_file.suffix.lower() in (".dxf", ".svg"):
        raise click.UsageError(f"{job_file}: is a drawing; give it with --plate or --part, and here a job file (.toml)")
    if job_file is not None:
        return read_job(job_file, overrides=tables, unit_rules=rules)
    if "plate" not in tables or "part" not in tables:
        raise click.UsageError("give a job file, or a plate (--plate, --corners, --from-rack) and at least one --part")
    return make_job(tables, unit_rules=rules)


def _tables(given: dict[str, Any]) -> dict[str, Any]:
    """Return the options as a job file would hold them."""
    parts = [options.part_entry(text) for text in given["parts"]]
    options.apply_rules(parts, given["rules"])
    clearances = ("kerf", "gap", "margin", "lead_in")
    return options.without_none(
        {
            "name": given["name"],
            "shop": given["shop"] and str(Path(given["shop"]).absolute()),
            "plate": {
                **_plate(given),
                "rack": given["from_rack"],
                "thickness": options.length(given["thickness"]),
                "name": given["plate_name"],
                "uncertainty": options.length(given["uncertainty"]),
                **{key: given[key] for key in ("grade", "heat", "certificate", "grain", "parent", "place")},
            },
            "clearances": {
                **{key: options.length(given[key]) for key in clearances},
                **{key: given[key] for key in ("merge_cuts", "break_edge", "keep_lead_room", "process", "amps")},
            },
            "drawings": options.drawings_entry(
                given["layers"], given["join"], given["layer_rules"], given["most_entities"]
            ),
            "part": parts,
            "search": {
                **{key: given[key] for key in ("seconds", "steps", "seed", "threads")},
                "pull_to": options.pull_entry(given["pull_to"]),
            },
            "output": {
                "folder": given["out"] and str(Path(given["out"]).absolute()),
                "version": given["dxf"],
                "units": given["out_units"],
                "paper": given["paper"],
                **{key: given[key] for key in _OUTPUT},
            },
        }
    )


def _plate(given: dict[str, Any]) -> dict[str, Any]:
    shape = options.plate_entry(given["plate"]) if given["plate"] else {}
    if given["corners"]:
        shape["corners"] = options.corners(given["corners"], "--corners")
    return {
        **shape,
        "holes": [options.corners(text, "--hole") for text in given["holes"]],
        "keep_outs": [{"corners": options.corners(text, "--keep-out")} for text in given["keep_outs"]],
    }


def run_order(order: "Order", *, force: bool, as_json: bool) -> int:
    """Run a resolved job, show what came of it and return the exit code."""
    from nesting.steps.run import run_job

    for name, finding in order.findings:
        if finding.severity != "note":
            say(finding_line(name, finding))
    for note in order.notes:
        say(f"note: {note}")
    tell_fit(order.fit, {d.part.id: d.part.name for d in order.demands})
    with stop_on_interrupt() as should_stop:
        with progress() as on_progress:
            result = run_job(order, force=force, on_progress=on_progress, should_stop=should_stop)
        code = INTERRUPTED if should_stop() else LEFT_OVER if result.layout.left_over else DONE
    tell_fit(result.grain, {i: p.name for i, p in result.layout.parts.items()})
    if result.recovered:
        say(f"note: {result.recovered}")
    if as_json:
        emit(_document(order, result, code))
    else:
        _show(result, order.unit)
    return code


def _document(order: "Order", result: "Result", code: int) -> dict[str, Any]:
    folder = there(result.folder)
    return {
        "schema": "oddplate-nest/1",
        "exit_code": code,
        "interrupted": code == INTERRUPTED,
        "layout_id": result.layout.id,
        "folder": str(folder),
        "files": sorted(str(p) for p in folder.iterdir()),
        "findings": [{"drawing": name, **finding_json(f)} for name, f in order.findings],
        "fit": [f.as_json() for f in (*order.fit, *result.grain)],
        "without_lead": list(result.without_lead),
        "report": result.report.as_json(),
    }


def _show(result: "Result", unit: "Unit") -> None:
    from nesting.files.release import AT_NEED, SHEETS
    from nesting.report.wording import measures

    length = measures(unit)["length"]

    rows = [
        (
            p.name,
            str(p.placed),
            "fill" if p.wanted is None else str(p.wanted),
            " x ".join(length.text(length.shown(side)) for side in (p.width_mm, p.height_mm)),
        )
        for p in result.report.parts
    ]
    show_table(("part", "placed", "wanted", f"size {length.unit}"), rows)
    show()
    for missing in result.without_lead:
        say(f"warning: {missing}")
    for left in result.report.left_over:
        show(f"left over: {left.count} x {left.name}: {left.reason}")
    show(f"utilisation {_percent(result, 'utilisation') or 'unknown'} of the plate (net part area / plate area)")
    if (most := _percent(result, "most_utilisation")) is not None:
        show(f"at most {most} could be used by these parts")
    if result.report.pulled is not None:
        show(_pulled(result.report.pulled, unit))
    for kept in result.report.remnants:
        show(_kept(kept, unit))
    if result.report.check is not None:
        show(f"check: {result.report.check.summary}")
    folder = near(there(result.folder))
    show(f"layout {result.layout.id} written to {folder}")
    show(f"to print: {folder / SHEETS[0]}, {SHEETS[2]}")
    if any((folder / name).exists() for name in AT_NEED):
        show(f"questions for the designers: {folder / AT_NEED[0]}")


def _kept(remnant: "RemnantRow", unit: "Unit") -> str:
    from nesting.report.wording import measures

    weight, sign = measures(unit)["mass"], measures(unit)["length"].unit
    mass = "" if remnant.mass_kg is None else f", {weight.shown(remnant.mass_kg):.1f} {weight.unit}"
    return f"worth keeping: {remnant.label}{mass}, takes a rectangle of {_sides(remnant.rectangle_mm, unit)} {sign}"


def _pulled(pulled: "Pulled", unit: "Unit") -> str:
    from nesting.report.wording import measures

    before, after, sign = pulled.before, pulled.after, measures(unit)["length"].unit
    across = [_sides((rest.circle_diameter_mm,), unit) for rest in (before, after)]
    if not pulled.moved:
        return (
            "parts left where they were, since pulling them together gave no larger rest: the free rest takes a "
            f"rectangle of {_sides(after.rectangle_mm, unit)} {sign} and a circle of {across[1]} {sign}"
        )
    return (
        f"pulled to {pulled.to}: the free rest takes a rectangle of {_sides(after.rectangle_mm, unit)} {sign} (before: "
        f"{_sides(before.rectangle_mm, unit)}) and a circle of {across[1]} {sign} (before: {across[0]})"
    )


def _sides(sides_mm: "Sequence[float]", unit: "Unit") -> str:
    from nesting.report.sheet.words import Lengths

    return Lengths(unit=unit).rough(sides_mm)


def _percent(result: "Result", key: str) -> str | None:
    value = next((f.value for f in result.report.figures if f.key == key), None)
    return None if value is None else f"{value:.2f} %"
