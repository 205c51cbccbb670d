"""`oddplate rack take`, `give-back`, `scrap` and `undo`."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.codes import DONE
from cli.output import emit, json_option, show
from cli.rack_options import SCHEMA, opened, shop_of, size, state, who_is, with_act

if TYPE_CHECKING:
    from collections.abc import Sequence

    from nesting.rack.piece import Listed
    from nesting.shop import Shop

_IDS = click.argument("ids", nargs=-1, required=True, metavar="ID...")


@click.command("take")
@_IDS
@click.option("--for", "job", metavar="JOB", required=True, help="The job that it is set aside for.")
@with_act
@json_option
def take(
    ids: tuple[str, ...], job: str, where: str | None, shop: Path | None, who: str | None, note: str, as_json: bool
) -> int:
    """Set pieces aside for a job: all of them, or none if one is taken."""
    own = shop_of(shop)
    with opened(where, own) as rack:
        return _tell(rack.set_aside(ids, job, who=who_is(who), note=note), own, as_json=as_json)


@click.command("give-back")
@_IDS
@with_act
@json_option
def give_back(
    ids: tuple[str, ...], where: str | None, shop: Path | None, who: str | None, note: str, as_json: bool
) -> int:
    """Put pieces that were set aside back on the rack."""
    own = shop_of(shop)
    with opened(where, own) as rack:
        return _tell(rack.give_back(ids, who=who_is(who), note=note), own, as_json=as_json)


@click.command("scrap")
@_IDS
@with_act
@json_option
def scrap(ids: tuple[str, ...], where: str | None, shop: Path | None, who: str | None, note: str, as_json: bool) -> int:
    """Take pieces out as scrap; what is set aside must be given back first."""
    own = shop_of(shop)
    with opened(where, own) as rack:
        return _tell(rack.scrap(ids, who=who_is(who), note=note), own, as_json=as_json)


@click.command("undo")
@click.argument("id")
@with_act
@json_option
def undo(id: str, where: str | None, shop: Path | None, who: str | None, note: str, as_json: bool) -> int:
    """Take back the last act on a piece.

    Undoing a cut takes its remnants off the rack again, unless one of them has been used since: then that comes
    first.  The history keeps both, the act and its undoing.
    """
    from nesting.rack.told import act_json, piece_json

    own = shop_of(shop)
    with opened(where, own) as rack:
        act, pieces = rack.undo(id, who=who_is(who), note=note)
    if as_json:
        told = [piece_json(p, own) for p in pieces]
        emit({"schema": SCHEMA, "exit_code": DONE, "undone": act_json(act), "pieces": told})
        return DONE
    show(f"undone: {act.kind} of {act.when.astimezone():%Y-%m-%d %H:%M} by {act.who}")
    for piece in pieces:
        show(f"{piece.id}  {state(piece)}")
    return DONE


def _tell(pieces: "Sequence[Listed]", shop: "Shop", *, as_json: bool) -> int:
    from nesting.rack.told import piece_json

    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, "pieces": [piece_json(p, shop) for p in pieces]})
        return DONE
    for piece in pieces:
        at = f", at {piece.facts.place}" if piece.facts.place else ""
        show(f"{piece.id}  {size(piece, shop)}{at}: {state(piece)}")
    return DONE
