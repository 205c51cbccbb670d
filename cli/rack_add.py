"""`oddplate rack add` and `edit`: pieces that come to the rack, and what is known of them put right."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.codes import DONE
from cli.output import emit, finding_line, json_option, say, show
from cli.plate_options import length
from cli.rack_options import SCHEMA, lengths_of, opened, shop_of, size, thick, who_is, with_act

if TYPE_CHECKING:
    from nesting.rack.piece import Facts, NewPiece, RackPiece
    from nesting.shop import Shop
    from nesting.steps.racking import Said
    from nesting.units import Unit

_DATE = click.DateTime(["%Y-%m-%d"])


@click.command("add")
@click.argument("sources", nargs=-1, required=True, metavar="FILE.toml|FILE.dxf|WxH...")
@click.option("--count", type=click.IntRange(1, 1000), default=1, help="How many alike; each gets its id.")
@click.option("--id", "own_id", metavar="ID", help="An id of your own; default the next free one.")
@click.option("--name", metavar="TEXT", help="What it is called; default the file's name.")
@click.option("--thickness", metavar="LENGTH", help='Thickness, if known: 6, "1/4 in", "10 ga mild steel".')
@click.option("--grade", metavar="TEXT", help="Grade, if known.")
@click.option("--heat", metavar="TEXT", help="Heat number, if known.")
@click.option("--certificate", metavar="TEXT", help="Number of the mill's test certificate, if known.")
@click.option("--grain", type=float, metavar="DEG", help="Direction of the grain, if known.")
@click.option("--parent", metavar="ID", help="Piece or plate it was cut from, if known.")
@click.option("--place", metavar="TEXT", help="Where it stands.")
@click.option("--photo", metavar="FILE", help="A picture of it, to be found again.")
@click.option("--weight", type=float, metavar="KG", help="What a scale says; default by size, thickness and density.")
@click.option("--valued", type=click.Choice(["as new", "as remnant", "as scrap"]), help="Which price it counts by.")
@click.option("--value", type=float, metavar="MONEY", help="A value of your own, for the piece.")
@click.option("--added", type=_DATE, metavar="YYYY-MM-DD", help="When it came; default today.")
@click.option("--uncertainty", metavar="LENGTH", help="How far the outline may be off; must be said for a drawing.")
@click.option("--units", metavar="UNIT", help="Unit of a plain size, or of a drawing that does not say it.")
@with_act
@json_option
def add(
    sources: tuple[str, ...],
    count: int,
    where: str | None,
    shop: Path | None,
    who: str | None,
    note: str,
    as_json: bool,
    **given: Any,
) -> int:
    """Put plates on the rack, and say which ids to chalk on them.

    A source is a plate file, as every way of 'oddplate plate' writes it, a drawing (DXF, SVG), or a size: 1250x2500.
    All of them come to the rack, or none.
    """
    if given["own_id"] and (count > 1 or len(sources) > 1):
        raise click.UsageError("--id goes with one piece")
    own = shop_of(shop)
    said = _said(given)
    new = [_new(source, said) for source in sources]
    _refuse_doubtful_thickness(given["thickness"], said, new)
    with opened(where, own, create=True) as rack:
        came = rack.add([one for one in new for _ in range(count)], who=who_is(who), note=note)
        return _tell(came, own, rack.where, as_json=as_json)


def _said(given: dict[str, Any]) -> "Said":
    from nesting.lengths import parse_thickness
    from nesting.steps.capture import Known
    from nesting.steps.racking import Said
    from nesting.units import parse_drawn_unit

    keys = ("name", "grade", "heat", "certificate", "parent", "place", "photo")
    thickness, units, uncertainty = given["thickness"], given["units"], given["uncertainty"]
    return Said(
        known=Known(
            **{key: given[key] for key in keys},
            thickness_mm=None if thickness is None else parse_thickness(thickness, "mm"),
            grain_deg=options.finite(given["grain"], "--grain"),
        ),
        id=given["own_id"],
        added=given["added"] and given["added"].date(),
        uncertainty_mm=None if uncertainty is None else length(uncertainty),
        units=parse_drawn_unit(units) if units else None,
        weighed_kg=_positive(given["weight"], "--weight"),
        valued=given["valued"],
        own_value=_value(given["value"]),
    )


def _positive(value: float | None, option: str) -> float | None:
    if value is not None and not 0.0 < value < 1e6:
        raise click.BadParameter(f"expected a figure above 0, got {value:g}", param_hint=option)
    return value


def _value(value: float | None) -> float | None:
    if value is not None and not 0.0 <= value < 1e9:
        raise click.BadParameter(f"expected a figure of 0 or more, got {value:g}", param_hint="--value")
    return value


def _new(source: str, said: "Said") -> "NewPiece":
    from nesting.lengths import parse_length
    from nesting.steps.racking import piece_of_file, piece_of_size

    sides = None if Path(source).exists() else options.size_texts(source)
    if sides is not None and all(side.strip()[:1].isdigit() for side in sides):
        width, height = (parse_length(side, _unit_of_size(said)) for side in sides)
        return piece_of_size(width, height, said)
    new, findings = piece_of_file(Path(source), said)
    for finding in findings:
        if finding.severity != "note":
            say(finding_line(Path(source).name, finding))
    return new


def _refuse_doubtful_thickness(thickness: str | None, said: "Said", new: "list[NewPiece]") -> None:
    """Beside a size in another unit a thickness must say its own: 0.25 could be either."""
    sized = any(one.capture.get("way") == "width and height" for one in new)
    if thickness is not None and sized and said.units not in (None, "mm") and options.is_plain(thickness):
        raise click.BadParameter(
            f"the size is in {said.units}, a plain number here is in mm; write the unit beside it, such as "
            f'"{thickness} {said.units}" or "{thickness} mm"',
            param_hint="--thickness",
        )


def _unit_of_size(said: "Said") -> "Unit":
    """Plain numbers of a size are in `--units`, millimetres unless that is said."""
    from nesting.units import parse_unit

    if said.units is None:
        return "mm"
    if said.units.startswith("px"):
        raise click.BadParameter("pixels are for drawings; a size is in mm or inch", param_hint="--units")
    return parse_unit(said.units)


def _tell(came: "list[RackPiece]", shop: "Shop", where: str, *, as_json: bool) -> int:
    from nesting.rack.told import piece_json

    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, "rack": where, "pieces": [piece_json(p, shop) for p in came]})
        return DONE
    for piece in came:
        show(f"{piece.id}  {piece.facts.name}: {', '.join(_words(piece, shop))}")
    show("chalk the id on each" if len(came) > 1 else "chalk the id on it")
    return DONE


def _words(piece: "RackPiece", shop: "Shop") -> list[str]:
    facts = piece.facts
    told = [
        size(piece, shop),
        thick(facts.thickness_mm, shop),
        facts.grade or "grade unknown",
        f"heat {facts.heat}" if facts.heat else "",
        f"at {facts.place}" if facts.place else "",
        f"uncertain by {lengths_of(shop).fine(piece.uncertainty_mm)}" if piece.uncertainty_mm else "",
    ]
    return [word for word in told if word]


@click.command("edit")
@click.argument("id")
@click.option("--name", metavar="TEXT", help="What it is called.")
@click.option("--thickness", metavar="LENGTH", help="Thickness.")
@click.option("--grade", metavar="TEXT", help='Grade; "" makes it unknown, as for all texts.')
@click.option("--heat", metavar="TEXT", help="Heat number.")
@click.option("--certificate", metavar="TEXT", help="Number of the mill's test certificate.")
@click.option("--grain", type=float, metavar="DEG", help="Direction of the grain.")
@click.option("--place", metavar="TEXT", help="Where it stands.")
@click.option("--photo", metavar="FILE", help="A picture of it, to be found again.")
@click.option("--remark", metavar="TEXT", help="A remark that stays with the piece.")
@click.option("--weight", type=float, metavar="KG", help="What a scale says.")
@click.option("--valued", type=click.Choice(["as new", "as remnant", "as scrap"]), help="Which price it counts by.")
@click.option("--value", type=float, metavar="MONEY", help="A value of your own, for the piece.")
@with_act
@json_option
def edit(id: str, where: str | None, shop: Path | None, who: str | None, note: str, as_json: bool, **given: Any) -> int:
    """Put right what is known of a piece that is there."""
    own = shop_of(shop)
    said = _changed(given)
    if not said:
        raise click.UsageError("say what to put right, such as --place B2")

    def changed(facts: "Facts") -> "Facts":
        return replace(facts, **said)

    with opened(where, own) as rack:
        return _tell_edit(rack.edit(id, changed, who=who_is(who), note=note), own, as_json=as_json)


def _changed(given: dict[str, Any]) -> dict[str, Any]:
    """Return the facts that are said; an empty text makes a fact unknown."""
    from nesting.lengths import parse_thickness

    said: dict[str, Any] = {}
    for key in ("grade", "heat", "certificate", "place", "photo"):
        if given[key] is not None:
            said[key] = given[key] or None
    if given["name"] is not None:
        said["name"] = given["name"]
    if given["remark"] is not None:
        said["note"] = given["remark"]
    if given["thickness"] is not None:
        said["thickness_mm"] = parse_thickness(given["thickness"], "mm")
    if given["grain"] is not None:
        said["grain_deg"] = options.finite(given["grain"], "--grain")
    if given["weight"] is not None:
        said["weighed_kg"] = _positive(given["weight"], "--weight")
    if given["value"] is not None and given["valued"] is not None:
        raise click.UsageError("--valued and --value exclude one another")
    if given["value"] is not None:
        said |= {"valued": "own", "own_value": _value(given["value"])}
    elif given["valued"] is not None:
        said |= {"valued": given["valued"], "own_value": None}
    return said


def _tell_edit(piece: "RackPiece", shop: "Shop", *, as_json: bool) -> int:
    from nesting.rack.told import piece_json

    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, "pieces": [piece_json(piece, shop)]})
    else:
        show(f"{piece.id}  {piece.facts.name}: {', '.join(_words(piece, shop))}")
    return DONE
