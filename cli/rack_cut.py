"""`oddplate rack cut`: what was really cut, and what comes back."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.codes import DONE
from cli.output import emit, json_option, say, show
from cli.plate_options import length
from cli.rack_options import SCHEMA, mass, mass_unit, opened, shop_of, size, who_is, with_act

if TYPE_CHECKING:
    from nesting.shop import Shop
    from nesting.steps.rack_cut import Recorded


@click.command("cut")
@click.argument("layout", metavar="LAYOUT", type=click.Path(path_type=Path))
@click.option("--failed", multiple=True, metavar="P3", help="Part that was cut and is no use; P3,P4 or P3-P6 for more.")
@click.option("--not-reached", multiple=True, metavar="P5", help="Part that was not cut; its place stays plate.")
@click.option("--piece", metavar="ID", help="Piece it was cut from, where the layout's plate is not named by its id.")
@click.option("--place", metavar="TEXT", help="Where the remnants are put; default where the piece was.")
@click.option(
    "--shear", "shears", multiple=True, metavar='"X,Y X,Y"', help="A straight cut through the skeleton; more than once."
)
@click.option("--notch", metavar="LENGTH", help="How far leads may have cut in beside the parts; default the lead-in.")
@with_act
@json_option
def cut(
    layout: Path,
    failed: tuple[str, ...],
    not_reached: tuple[str, ...],
    piece: str | None,
    place: str | None,
    shears: tuple[str, ...],
    notch: str | None,
    where: str | None,
    shop: Path | None,
    who: str | None,
    note: str,
    as_json: bool,
) -> int:
    """Record what was cut of LAYOUT, a result folder or its layout.json.

    The piece is used up, and in the same moment what is left of it and worth keeping comes to the rack, with its
    grade, heat, certificate and grain.  Parts are named by the numbers of the layout.
    """
    from datetime import date

    from cli.plate_drawn import shear_line
    from nesting.steps.rack_cut import read_cutting, record_cut

    own = shop_of(shop)
    cutting = read_cutting(layout, failed=failed, not_reached=not_reached)
    with opened(where, own) as rack:
        done = record_cut(
            rack,
            cutting,
            own,
            who=who_is(who),
            piece=piece,
            place=place,
            note=note,
            shears=[shear_line(text) for text in shears],
            notch_mm=None if notch is None else length(notch),
            today=date.today(),
        )
    for told in done.notes:
        say(f"note: {told}")
    return _tell(done, own, as_json=as_json)


def _tell(done: "Recorded", shop: "Shop", *, as_json: bool) -> int:
    from dataclasses import asdict

    from nesting.rack.told import piece_json
    from nesting.rack.worth import worth

    cut = done.cut
    if as_json:
        parts = {
            key: [asdict(p) for p in found]
            for key, found in (("made", cut.made), ("failed", cut.failed), ("not_reached", cut.not_reached))
        }
        emit(
            {
                "schema": SCHEMA,
                "exit_code": DONE,
                "piece": piece_json(done.piece, shop),
                "layout_id": cut.layout_id,
                **parts,
                "areas": dict(cut.areas),
                "remnants": [piece_json(p, shop) for p in done.remnants],
                "notes": list(done.notes),
            }
        )
        return DONE
    show(f"{done.piece.id}: cut, layout {cut.layout_id}, {len(cut.made)} parts made")
    for what, parts_ in (("failed", cut.failed), ("not reached", cut.not_reached)):
        if parts_:
            show(f"{what}: " + ", ".join(f"P{p.number} ({p.name})" for p in parts_))
    for remnant in done.remnants:
        at = f", at {remnant.facts.place}" if remnant.facts.place else ""
        weight = f"{mass(worth(remnant, shop), shop.unit)} {mass_unit(shop.unit)}"
        show(f"{remnant.id}  came back: {size(remnant, shop)}, {weight}{at}; chalk the id on it")
    if not done.remnants:
        show("nothing came back")
    return DONE
