"""`oddplate yield`: where the plate went, over several layouts, a batch or a month of the rack's history."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from cli.codes import DONE
from cli.output import emit, json_option, near, say, show, show_table
from cli.rack_options import opened, shop_of

if TYPE_CHECKING:
    from nesting.report.tables import Table
    from nesting.report.yields.facts import YieldsReport
    from nesting.steps.yielding import Read
    from nesting.units import Unit

HELP = """Tell where the plate went: parts, kerf, kept leftovers, scrap; mass, cutting time and cost.

Takes result folders of 'oddplate nest' (or a folder of such folders), layout.json or report.json files, and with
--rack, --month, --since or --until what was really cut from the rack in that time.  Sums are by grade and thickness,
by time, by line of the order.  What was really made counts; a layout of which nobody told counts as planned.

\b
Examples:
  oddplate yield demo-layout
  oddplate yield monday tuesday wednesday --shop shop.toml --out week
  oddplate yield --month 2026-11 --out november
  oddplate yield --rack rack.db --since 2026-11-02 --until 2026-11-09 --by day --json
"""


@click.command("yield", help=HELP)
@click.argument("layouts", metavar="[LAYOUT...]", nargs=-1, type=click.Path(path_type=Path))
@click.option("--rack", "where", metavar="FILE|URL", envvar="ODDPLATE_RACK", help="The rack; see 'oddplate rack'.")
@click.option("--month", metavar="YYYY-MM", help="What was cut from the rack in this month.")
@click.option("--since", metavar="YYYY-MM-DD", help="What was cut from the rack from this day on.")
@click.option("--until", metavar="YYYY-MM-DD", help="What was cut from the rack before this day.")
@click.option("--by", type=click.Choice(["day", "week", "month"]), default="day", help="Sums over time; default day.")
@click.option("--file-dates", is_flag=True, help="Take the day a layout's file was written as the day it was cut.")
@click.option(
    "--shop",
    metavar="FILE",
    envvar="ODDPLATE_SHOP",
    type=click.Path(path_type=Path),
    help="Work every layout out anew with this shop's prices and sizes to keep; default: as its own report told.",
)
@click.option(
    "--mass",
    "mass_by",
    type=click.Choice(["density", "gauge table"]),
    help="Work mass out anew by this convention; default: as the shop file or the layout's own report says.",
)
@click.option("--title", metavar="TEXT", help="Heading of the report.")
@click.option("--units", metavar="UNIT", help="mm or inch, for what people read; default the shop's.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="For page and PDF; default the shop's.")
@click.option(
    "--out", metavar="FOLDER", type=click.Path(path_type=Path), help="Write page, PDF, tables and JSON there."
)
@click.option("--force", is_flag=True, help="Replace the folder of an earlier report.")
@click.option(
    "--schema",
    type=click.Choice(["one", "several"]),
    help="Print the JSON Schema of a layout's report (report.json), or of this command's, and do nothing else.",
)
@json_option
def command(
    layouts: tuple[Path, ...],
    where: str | None,
    month: str | None,
    since: str | None,
    until: str | None,
    by: Any,
    shop: Path | None,
    mass_by: Any,
    out: Path | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Report over several cuts."""
    from nesting.report.yields.gathered import gathered
    from nesting.steps.yielding import once_each, rack_cuts, read_cuts, release_yields, wanted_of
    from nesting.units import parse_unit

    if given["schema"]:
        return _print_schema(given["schema"])
    first, last = _span(month, since, until)
    of_rack = _of_rack(layouts, where, first or last)
    known, anew = shop_of(shop), _typed("shop") or mass_by is not None
    known = replace(known, mass_by=mass_by or known.mass_by)
    unit = parse_unit(given["units"]) if given["units"] else known.unit
    planned = [c for path in layouts for c in read_cuts(path, known, anew=anew, dated_by_file=given["file_dates"])]
    cut: Sequence[Read] = ()
    if of_rack:
        with opened(where, known) as rack:
            cut = rack_cuts(rack, known, anew=anew, since=first, until=last)
    cuts, notes = once_each(planned, cut)
    title = given["title"] or _title(layouts, month, since, until)
    # Line ids are an order's own: of two orders one line may be called like the other's.
    wanted = wanted_of(layouts[0]) if len(layouts) == 1 and not of_rack else ()
    report = gathered([c.fact for c in cuts], title=title, by=by, since=first, until=last, wanted=wanted)
    for note in (*notes, *report.notes):
        say(f"note: {note}")
    if out is not None:
        paper = given["paper"] or known.paper
        told = release_yields(report, cuts, out, shop=known, unit=unit, paper=paper, force=given["force"])
        say(f"note: {told}" if told else f"wrote {near(out.absolute())}")
    if as_json:
        emit(report.as_json())
    else:
        _show(report, unit)
    return DONE


def _print_schema(which: str) -> int:
    from nesting.report.published import published

    show(published({"one": "oddplate-yield/1", "several": "oddplate-yields/1"}[which]).rstrip())
    return DONE


def _typed(name: str) -> bool:
    """True for an option on the command line itself, not of the environment."""
    return click.get_current_context().get_parameter_source(name) is ParameterSource.COMMANDLINE


def _of_rack(layouts: Sequence[Path], where: str | None, timed: date | None) -> bool:
    if not layouts and where is None and timed is None:
        raise click.UsageError("give layouts (result folders of 'oddplate nest'), or a time: --month, --since, --until")
    if layouts and timed is None and _typed("where"):
        raise click.UsageError("--rack beside layouts needs a time: --month, --since or --until")
    return timed is not None or not layouts


def _span(month: str | None, since: str | None, until: str | None) -> tuple[date | None, date | None]:
    """The first day, and the first day no longer meant."""
    if month is None:
        first, last = _day(since, "--since"), _day(until, "--until")
        if first and last and first >= last:
            raise click.BadParameter(
                f"{until} is not after {since}; it is the first day that no longer counts", param_hint="--until"
            )
        return first, last
    if since or until:
        raise click.UsageError("--month goes without --since and --until")
    start = _day(f"{month}-01", "--month")
    assert start is not None
    return start, (start + timedelta(days=31)).replace(day=1)


def _day(text: str | None, option: str) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        wanted = "a month such as 2026-11" if option == "--month" else "a day such as 2026-11-30"
        raise click.BadParameter(
            f"{text.removesuffix('-01') if option == '--month' else text!r} is not {wanted}", param_hint=option
        ) from None


def _title(layouts: Sequence[Path], month: str | None, since: str | None, until: str | None) -> str:
    if month or since or until:
        return f"Yield of {month}" if month else "Yield of the rack"
    return f"Yield of {layouts[0].name}" if len(layouts) == 1 else "Yield" if layouts else "Yield of the rack"


def _show(report: "YieldsReport", unit: "Unit") -> None:
    """The sums for people: by grade and thickness, over time, and the figures."""
    from nesting.report.yields.words import words

    w = words(report, unit)
    if not report.cuts:
        show("nothing was cut in this time")
        return
    for table in (w.materials, *([w.times] if len(report.by_time) > 1 else []), w.lines):
        _table(table)
        show()
    for figure in w.figures:
        show(f"{figure.label}: {figure.value}{f' ({figure.note})' if figure.note else ''}")


def _table(table: "Table") -> None:
    show_table(table.headings, [*table.rows, *([table.total] if len(table.rows) > 1 else [])])
