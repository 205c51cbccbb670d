"""`oddplate rack show` and `history`: all that is known of one piece, and what happened."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import output
from cli.codes import DONE
from cli.output import emit, json_option, say, show_table
from cli.rack_options import (
    SCHEMA,
    known,
    lengths_of,
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
    from nesting.rack.piece import Act, RackPiece
    from nesting.shop import Shop


@click.command("show")
@click.argument("id")
@click.option(
    "--picture", metavar="FILE", type=click.Path(path_type=Path), help="Draw it: .png, .svg or .pdf, with tape checks."
)
@click.option("--plate-file", metavar="FILE.toml", type=click.Path(path_type=Path), help="Write it as a plate file.")
@click.option("--force", is_flag=True, help="Replace files that are there.")
@with_where
@json_option
def show(
    id: str,
    picture: Path | None,
    plate_file: Path | None,
    force: bool,
    where: str | None,
    shop: Path | None,
    as_json: bool,
) -> int:
    """Tell all that is known of one piece, and draw it."""
    from nesting.files.plate_file import write_plate_file
    from nesting.rack.counting import last_seen
    from nesting.steps.capture import draw
    from nesting.steps.racking import as_plate_file

    own = shop_of(shop)
    with opened(where, own) as rack:
        piece, acts = rack.piece(id), rack.history(id)
        children = [p.id for p in rack.listed(_children(piece))]
        counted = last_seen(rack, piece.id)
    if picture is not None:
        title = f"{piece.id}: {piece.facts.name}, uncertain by {piece.uncertainty_mm:.1f} mm"
        draw(as_plate_file(piece), picture, title=title, force=force)
    if plate_file is not None:
        write_plate_file(as_plate_file(piece), plate_file, force=force)
    tell_mended([piece])
    if as_json:
        seen = None if counted is None else {"when": counted[0].isoformat(), "outcome": counted[1]}
        emit({**_piece_document(piece, acts, children, own), "last_stocktake": seen})
        return DONE
    _tell_piece(piece, children, own)
    if counted is not None:
        output.show(f"  {'stock-take':<12} {counted[0].astimezone():%Y-%m-%d}: {counted[1]}")
    output.show()
    _tell_acts(acts)
    for path in (picture, plate_file):
        if path is not None:
            say(f"wrote {path}")
    return DONE


def _children(piece: "RackPiece") -> "Filter":
    from nesting.rack.look import Filter
    from nesting.rack.piece import STATES

    return Filter(parent=piece.id, states=tuple(s for s in STATES if s != "taken back"))


def _piece_document(piece: "RackPiece", acts: "list[Act]", children: list[str], shop: "Shop") -> dict[str, Any]:
    import json

    from nesting.rack.told import act_json, piece_json

    return {
        "schema": SCHEMA,
        "exit_code": DONE,
        **piece_json(piece, shop),
        "cut_to": children,
        "capture": json.loads(piece.capture_json),
        "outline": json.loads(piece.outline_json),
        "history": [act_json(a) for a in acts],
    }


def _tell_piece(piece: "RackPiece", children: list[str], shop: "Shop") -> None:
    from nesting.rack.worth import worth

    told = lengths_of(shop)
    facts, sizes, found = piece.facts, piece.summary, worth(piece, shop)
    currency = f" {shop.prices.currency}" if shop.prices.currency else ""
    lines = {
        "state": state(piece),
        "thickness": known(facts.thickness_mm and told.fine(facts.thickness_mm)),
        "grade": known(facts.grade),
        "heat": known(facts.heat),
        "certificate": known(facts.certificate),
        "grain": known(facts.grain_deg, "{:g} degrees"),
        "place": known(facts.place),
        "cut from": known(piece.parent),
        "cut to": ", ".join(children) or "-",
        "size": f"{told.rough(sorted((sizes.size_x_mm, sizes.size_y_mm), reverse=True))} {told.sign} over all",
        "has": f"{len(piece.outline.holes)} holes, {len(piece.outline.keep_outs)} keep-outs",
        "holds": f"a rectangle of {told.rough((sizes.long_mm, sizes.short_mm))} {told.sign}, a circle of "
        f"{told.rough((sizes.circle_mm,))} {told.sign}",
        "area": told.wide(sizes.area_mm2),
        "mass": f"{known(weight(found.mass_kg, shop.unit), '{} ' + mass_unit(shop.unit))} ({found.mass_from})",
        "value": f"{known(found.value, '{:.2f}')}{currency if found.value is not None else ''} ({found.value_from})",
        "outline": f"by {piece.captured}, uncertain by {told.fine(piece.uncertainty_mm)} (95 % bound)",
        "photo": known(facts.photo),
        "since": piece.added.isoformat(),
        "remark": facts.note or "-",
    }
    output.show(f"{piece.id}  {facts.name}")
    for key, value in lines.items():
        output.show(f"  {key:<12} {value}")


@click.command("history")
@click.argument("id", required=False)
@with_where
@json_option
def history(id: str | None, where: str | None, shop: Path | None, as_json: bool) -> int:
    """Tell who did what when, to one piece or to all, in order.

    What was undone stays in the history, marked.
    """
    from nesting.rack.told import act_json

    own = shop_of(shop)
    with opened(where, own) as rack:
        acts = rack.history(id)
    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, "acts": [act_json(a) for a in acts]})
    else:
        _tell_acts(acts)
    return DONE


def _tell_acts(acts: "list[Act]") -> None:
    rows = [
        (
            str(act.number),
            f"{act.when.astimezone():%Y-%m-%d %H:%M}",
            act.who,
            f"undo of {act.undoes}" if act.undoes else act.kind,
            " ".join(c.piece_id for c in act.changes),
            _what(act),
        )
        for act in acts
    ]
    show_table(("act", "when", "who", "what", "pieces", "note"), rows)


def _what(act: "Act") -> str:
    """Return what there is to say of an act besides its kind."""
    told = [f"undone by {act.undone_by}"] if act.undone_by else []
    if act.kind == "set aside":
        told.append(f"for {act.changes[0].after['set_aside_for']}")
    if act.kind == "edit":
        told += [f"{key}: {act.changes[0].before[key]} to {value}" for key, value in act.changes[0].after.items()
                 if act.changes[0].before is not None]  # fmt: skip
    return "; ".join([*told, *([act.note] if act.note else [])])
