"""`oddplate batch`: an order of many parts over many pieces of plate."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.codes import DONE, INTERRUPTED, LEFT_OVER
from cli.interrupt import stop_on_interrupt
from cli.output import emit, json_option, live, near, say, show, show_table
from cli.questions import questions

if TYPE_CHECKING:
    from nesting.batch.plan import PlanProgress
    from nesting.report.plan_facts import PlanFacts
    from nesting.report.sheet.words import Lengths
    from nesting.steps.batch_run import BatchResult
    from nesting.units import Unit

HELP = """Plan an order: which part is cut from which piece, what has to be bought, and what will be left.

The order file names parts with quantity, thickness, grade and due date, the leftovers at hand and the sheets that
can be bought.  The plan makes all parts due, buys as little as it can, and then cuts into as little leftover as it
can.  It goes into one folder: a page over all, and a folder with drawing and cut sheet for every piece of plate.

\b
Examples:
  oddplate batch week.toml
  oddplate batch week.toml --seconds 600 --out friday
  oddplate batch week.toml --again week-plan --cut A12 --missing B7 --failed bracket=2 --force
"""


@click.command("batch", help=HELP)
@click.argument("order_file", metavar="ORDER.toml", type=click.Path(path_type=Path))
@click.option("--again", metavar="FOLDER", type=click.Path(path_type=Path), help="Take up a plan again.")
@click.option(
    "--cut", multiple=True, metavar="PIECE", help="With --again: this piece, by its name in the plan, is cut."
)
@click.option("--missing", multiple=True, metavar="PIECE", help="With --again: this piece is not there.")
@click.option("--failed", multiple=True, metavar="PART=N", help="With --again: so many of a part came out bad.")
@click.option("--seconds", type=float, metavar="S", help="Time for the plan; default 300.")
@click.option("--seed", type=int, metavar="N", help="Seed of the search; default 0.")
@click.option("--workers", type=int, metavar="N", help="Processes that search at once; default one a core.")
@click.option("--units", multiple=True, metavar="[PATH=]UNIT", help="Unit of all drawings, of a file or a folder.")
@click.option("--accept-unknown-grade", is_flag=True, help="Cut parts that ask for a grade from unknown plate.")
@click.option("--rack", metavar="FILE", help="Rack whose pieces may be cut, beside those of the order.")
@click.option("--out", metavar="FOLDER", help="Folder of the plan; default ORDER-plan beside the order.")
@click.option("--force", is_flag=True, help="Replace the folder of an earlier plan.")
@json_option
def command(
    order_file: Path,
    again: Path | None,
    units: tuple[str, ...],
    accept_unknown_grade: bool,
    force: bool,
    as_json: bool,
    **given: Any,
) -> int:
    """Plan one order."""
    from nesting.files.batch_file import read_order
    from nesting.steps.batch_former import read_former
    from nesting.steps.batch_order import resolve_order

    if again is None and (given["cut"] or given["missing"] or given["failed"]):
        raise click.UsageError("--cut, --missing and --failed say what became of a plan; give its folder with --again")
    failed = _failed(given["failed"])
    former = None
    if again is not None:
        former = read_former(again, cut=given["cut"], missing=given["missing"], failed=failed)
        if former.recovered:
            say(f"note: {former.recovered}")
    written = read_order(order_file, overrides=_overrides(given), unit_rules=options.unit_rules(units))
    asked = questions(as_json=as_json, accept_unknown_grade=accept_unknown_grade)
    order = resolve_order(written, former=former, questions=asked, today=date.today())
    for note in order.notes:
        say(f"note: {note}")

    from nesting.steps.batch_run import run_batch

    with stop_on_interrupt() as should_stop:
        with live(_progress_line) as on_progress:
            result = run_batch(order, force=force, on_progress=on_progress, should_stop=should_stop)
        code = INTERRUPTED if should_stop() else DONE if result.facts.complete else LEFT_OVER
    if result.recovered:
        say(f"note: {result.recovered}")
    if as_json:
        emit({**result.document, "exit_code": code, "folder": str(result.folder)})
    else:
        _show(result, order.any_order.unit)
    return code


def _overrides(given: dict[str, Any]) -> dict[str, Any]:
    return options.without_none(
        {
            "rack": given["rack"]
            and (given["rack"] if "://" in given["rack"] else str(Path(given["rack"]).absolute())),
            "search": {key: given[key] for key in ("seconds", "seed", "workers")},
            "output": {"folder": given["out"] and str(Path(given["out"]).absolute())},
        }
    )


def _failed(texts: tuple[str, ...]) -> dict[str, int]:
    found: dict[str, int] = {}
    for text in texts:
        name, sign, count = text.rpartition("=")
        if not sign or not name or not count.isdecimal() or int(count) < 1:
            raise click.BadParameter(f"{text!r}: write PART=N, such as bracket=2", param_hint="--failed")
        found[name] = found.get(name, 0) + int(count)
    return found


def _progress_line(seen: "PlanProgress") -> str:
    left = max(0.0, seen.time_limit_s - seen.seconds)
    price = f", sheets for {seen.price:.2f}" if seen.price else ""
    return f"{seen.phase}: {seen.made} of {seen.wanted} parts on {seen.pieces} pieces{price}, {left:.0f} s left"


def _show(result: "BatchResult", unit: "Unit") -> None:
    from nesting.report.sheet.words import Lengths

    facts, size = result.facts, Lengths(unit=unit)
    _show_pieces(facts, size)
    show()
    rows = [
        (x.name, x.reference, x.due.isoformat() if x.due else "", str(x.wanted), str(x.planned), str(x.cut), x.status)
        for x in facts.lines
    ]
    show_table(("part", "reference", "due", "wanted", "planned", "cut", "status"), rows)
    show()
    for line in facts.lines:
        if line.reason:
            show(f"{line.status}: {line.name}: {line.reason}")
    money = f" {facts.currency}" if facts.currency else ""
    for row in facts.buy:
        sides = f"{size.rough(row.size_mm)} {size.sign}"
        show(f"buy: {row.count} x {row.name}, {sides}, {row.price_each:.2f}{money} each")
    if not facts.buy and facts.complete:
        show("nothing to buy")
    _show_bound(facts, size)
    show(f"plan written to {near(result.folder)}; open plan.html")


def _show_pieces(facts: "PlanFacts", size: "Lengths") -> None:
    rows = []
    for piece in facts.pieces:
        parts = ", ".join(f"{p.count} x {p.name}" for p in piece.placed)
        # As on the piece's own cut sheet: never more than is there.
        left = ", ".join(size.size(r.rectangle_mm, down=True) for r in piece.left).replace("\u00a0", " ") or "-"
        state = "cut" if piece.state == "cut" else "buy, cut" if piece.kind == "sheet" else "to cut"
        rows.append((str(piece.number), piece.id, state, f"{piece.utilisation:.1%}", parts, left))
    show_table(("no.", "piece", "state", "used", "parts", f"left, {size.sign}"), rows)


def _show_bound(facts: "PlanFacts", size: "Lengths") -> None:
    show(f"remnants cut into: {size.wide(facts.opened_mm2)}; {facts.layouts_tried} layouts tried")
    if facts.gap is not None and facts.least_worth_told:
        no_less = facts.gap < 0.0005
        show(
            "no plan gives up less of the remnants' worth"
            if no_less
            else f"no plan gives up less than {1 - facts.gap:.1%} of the remnant worth that this one does"
        )
    if facts.price > facts.least_price and facts.least_price_told:
        show(f"no plan costs less than {facts.least_price:.2f} {facts.currency}".rstrip())
