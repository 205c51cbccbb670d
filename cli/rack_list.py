"""`oddplate rack list` and `totals`: looking at the rack."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.codes import DONE
from cli.output import emit, json_option, say, show_table
from cli.plate_options import length
from cli.rack_options import (
    SCHEMA,
    known,
    lengths_of,
    mass,
    mass_unit,
    opened,
    shop_of,
    state,
    tell_mended,
    weight,
    with_where,
)

if TYPE_CHECKING:
    from nesting.rack.look import Filter
    from nesting.rack.piece import Listed
    from nesting.rack.store import Rack
    from nesting.rack.worth import Total, Worth
    from nesting.report.sheet.words import Lengths
    from nesting.shop import Shop
    from nesting.steps.will_fit import Fit


@click.command("list")
@click.option("--grade", metavar="TEXT", help="Of this grade, spaces and case aside.")
@click.option("--unknown-grade", is_flag=True, help="With --grade: those of unknown grade too.")
@click.option("--thickness", metavar="LENGTH", help="Within the mill's tolerance of this thickness.")
@click.option("--place", metavar="TEXT", help="At this place.")
@click.option("--for", "job", metavar="JOB", help="Set aside for this job.")
@click.option("--state", "states", multiple=True, metavar="STATE", help="Default: on the rack and set aside.")
@click.option("--parent", metavar="ID", help="Cut from this piece.")
@click.option("--fits", metavar="WxH|FILE", help="That hold this rectangle, or this drawn part, turned any way.")
@click.option("--margin", metavar="LENGTH", default="0", help="With --fits: margin to the edge; default 0.")
@click.option("--units", metavar="UNIT", help="With --fits FILE: unit of the drawing, if it does not say it.")
@click.option("--most", type=click.IntRange(1), metavar="N", help="Only the first so many; those that came first lead.")
@with_where
@json_option
def list_(most: int | None, where: str | None, shop: Path | None, as_json: bool, **given: Any) -> int:
    """List pieces, those that came to the rack first at the front.

    A thickness means plate that a mill may deliver for it, as a caliper finds it: 6 finds 5.7 to 6.8 mm.  Sizes are
    over all; "holds" is a rectangle inside.  A tilde after a mass says that the material was assumed.  --fits keeps
    the margin and the uncertainty of each outline; of a drawn part it lists what holds it and what may (perhaps).
    """
    own = shop_of(shop)
    wanted = _filter(given)
    with opened(where, own) as rack:
        found = _fitting(rack, rack.listed(wanted), given)
    shown = found[:most] if most else found
    tell_mended(piece for piece, _ in shown)
    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, "found": len(found), "pieces": [_told(h, own) for h in shown]})
        return DONE
    _table(shown, own)
    if len(shown) < len(found):
        say(f"note: the first {len(shown)} of {len(found)}")
    return DONE


def _fitting(rack: "Rack", pieces: "list[Listed]", given: dict[str, Any]) -> "list[tuple[Listed, Fit | None]]":
    """Return the pieces that hold what is asked for, or all of them where nothing is."""
    from nesting.lengths import parse_length
    from nesting.steps.rack_holds import holding_part, holding_rectangle
    from nesting.units import parse_drawn_unit

    asked = given["fits"]
    if asked is None:
        return [(piece, None) for piece in pieces]
    margin = length(given["margin"])
    entry = options.plate_entry(asked)
    if "width" in entry:
        width, height = (parse_length(entry[key], "mm") for key in ("width", "height"))
        if not min(width, height) > 0.0:
            raise click.BadParameter(f"{asked}: expected two lengths above 0", param_hint="--fits")
        return list(holding_rectangle(rack, pieces, width, height, margin_mm=margin))
    units = parse_drawn_unit(given["units"]) if given["units"] else None
    return list(holding_part(pieces, Path(asked), margin_mm=margin, units=units))


def _told(held: "tuple[Listed, Fit | None]", shop: "Shop") -> dict[str, Any]:
    from nesting.rack.told import piece_json

    piece, found = held
    return {**piece_json(piece, shop), **({} if found is None else {"fits": found.verdict})}


def _filter(given: dict[str, Any]) -> "Filter":
    from nesting.lengths import parse_thickness
    from nesting.rack.look import Filter
    from nesting.rack.piece import STATES, THERE

    asked = [text.replace("-", " ") for text in given["states"]]
    for text in asked:
        if text not in STATES:
            raise click.BadParameter(f"{text!r} is none of {', '.join(STATES)}", param_hint="--state")
    thickness = given["thickness"]
    return Filter(
        states=tuple(s for s in STATES if s in asked) or THERE,
        grade=given["grade"],
        unknown_grade=given["unknown_grade"],
        thickness_mm=None if thickness is None else parse_thickness(thickness, "mm"),
        place=given["place"],
        job=given["job"],
        parent=given["parent"] and given["parent"].strip().upper(),
    )


def _table(held: "list[tuple[Listed, Fit | None]]", shop: "Shop") -> None:
    from nesting.rack.worth import worth

    if not held:
        say("no such piece is on the rack")
        return
    fits = ("fits",) if held[0][1] else ()
    told = lengths_of(shop)
    sign, weight = told.sign, mass_unit(told.unit)
    header = (*fits, "id", f"{sign} thick", "grade", f"size {sign}", f"holds {sign}", weight, "place", "since", "state")
    show_table(header, [(*([f.verdict] if f else []), *_row(p, worth(p, shop), told)) for p, f in held])


def _row(piece: "Listed", found: "Worth", told: "Lengths") -> tuple[str, ...]:
    facts, sizes = piece.facts, piece.summary
    return (
        piece.id,
        _thickness(facts.thickness_mm, told),
        known(facts.grade),
        told.rough(sorted((sizes.size_x_mm, sizes.size_y_mm), reverse=True)),
        told.rough((sizes.long_mm, sizes.short_mm)),
        mass(found, told.unit),
        known(facts.place),
        piece.added.isoformat(),
        state(piece),
    )


def _thickness(thickness_mm: float | None, told: "Lengths") -> str:
    """A thickness for a column whose heading has the unit."""
    if told.inches and thickness_mm:
        return told.fine(thickness_mm).removesuffix(" in")
    return known(thickness_mm, "{:g}")


@click.command("totals")
@click.option("--all", "everything", is_flag=True, help="What is set aside too.")
@with_where
@json_option
def totals(everything: bool, where: str | None, shop: Path | None, as_json: bool) -> int:
    """Sum up pieces, mass and value by grade and thickness."""
    from nesting.rack.look import Filter
    from nesting.rack.piece import THERE
    from nesting.rack.told import total_json
    from nesting.rack.worth import total
    from nesting.rack.worth import totals as by_kind

    own = shop_of(shop)
    with opened(where, own) as rack:
        found = rack.listed(Filter(states=THERE if everything else ("on the rack",)))
    tell_mended(found)
    rows, whole = by_kind(found, own), total(found, own)
    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, "currency": own.prices.currency,
              "totals": [total_json(t) for t in rows], "total": total_json(whole)})  # fmt: skip
        return DONE
    money = f"value {own.prices.currency}".rstrip()
    told = lengths_of(own)
    table = [(known(t.grade), _thickness(t.thickness_mm, told), *_sums(t, told)) for t in rows]
    header = ("grade", f"{told.sign} thick", "pieces", told.wide_sign, mass_unit(own.unit), money)
    show_table(header, [*table, ("all", "", *_sums(whole, told))])
    if whole.assumed:
        pieces = "1 piece" if whole.assumed == 1 else f"{whole.assumed} pieces"
        say(f"note: for {pieces} whose grade is not known or not in the table {own.material} is assumed in the mass")
    if whole.no_mass:
        say(f"note: the mass of {whole.no_mass} pieces is not known and not in the sum")
    if whole.no_value:
        say(f"note: the value of {whole.no_value} pieces is not known and not in the sum; prices are in the shop file")
    return DONE


def _sums(total: "Total", told: "Lengths") -> tuple[str, str, str, str]:
    mass_known, value_known = total.no_mass < total.pieces, total.no_value < total.pieces
    return (
        str(total.pieces),
        told.wide(total.area_mm2).removesuffix(f" {told.wide_sign}"),
        (weight(total.mass_kg, told.unit) if mass_known else None) or "-",
        f"{total.value:.2f}" if value_known else "-",
    )
