"""`oddplate rack stocktake`, `labels`, `export` and `import`."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.codes import DONE
from cli.output import emit, json_option, say, show
from cli.rack_options import SCHEMA, lengths_of, opened, shop_of, size, state, tell_mended, who_is, with_act, with_where

if TYPE_CHECKING:
    from nesting.rack.counting import Count
    from nesting.rack.store import Rack
    from nesting.shop import Shop


@click.command("stocktake")
@click.argument("ids", nargs=-1, metavar="ID...|-")
@click.option("--file", metavar="FILE", type=click.Path(path_type=Path), help="Ids from a file, one or more a line.")
@click.option("--place", metavar="TEXT", help="Only this place was looked through; default everywhere.")
@click.option("--dry-run", is_flag=True, help="Compare, and write nothing down.")
@with_act
@json_option
def stocktake(
    ids: tuple[str, ...],
    file: Path | None,
    place: str | None,
    dry_run: bool,
    where: str | None,
    shop: Path | None,
    who: str | None,
    note: str,
    as_json: bool,
) -> int:
    """Tick off what is there: give the ids that were found, read them from a file, or type or scan them in (-).

    Tells what is missing, what stands elsewhere, what the rack has as cut or scrapped, and ids it does not know.
    No piece is changed: put right what is wrong with edit, scrap or undo.
    """
    from nesting.rack.counting import take_stock

    own = shop_of(shop)
    found = _ids(ids, file)
    with opened(where, own) as rack:
        count = take_stock(rack, found, who=who_is(who), place=place, note=note, write=not dry_run)
        if as_json:
            emit(_document(count, own))
        else:
            _tell(rack, count, own)
    return DONE


def _ids(ids: tuple[str, ...], file: Path | None) -> list[str]:
    from nesting.outline.pasted import Pasted

    texts = [text for text in ids if text != "-"]
    if "-" in ids:
        if sys.stdin.isatty():
            say("scan or type the ids, one a line; end with Ctrl-D (Windows: Ctrl-Z, Enter)")
        texts += sys.stdin.read().split()
    if file is not None:
        texts += Pasted.read(file).text.replace(",", " ").replace(";", " ").split()
    return texts


def _document(count: "Count", shop: "Shop") -> dict[str, Any]:
    from nesting.rack.told import piece_json

    lists = {
        key: [piece_json(p, shop) for p in getattr(count, key)] for key in ("there", "missing", "elsewhere", "gone")
    }
    return {
        "schema": SCHEMA,
        "exit_code": DONE,
        "agrees": count.all_there,
        "when": count.when.isoformat(),
        "place": count.place,
        **lists,
        "unknown": list(count.unknown),
    }


def _tell(rack: "Rack", count: "Count", shop: "Shop") -> None:
    from nesting.rack.counting import likely

    show(f"there: {len(count.there)}")
    for piece in count.missing:
        at = f", at {piece.facts.place}" if piece.facts.place else ""
        taken = f", {state(piece)}" if piece.set_aside_for else ""
        show(f"missing: {piece.id}, {size(piece, shop)}{at}{taken}")
    for piece in count.elsewhere:
        show(f"stands elsewhere: {piece.id}, the rack has it at {piece.facts.place or 'no place'}")
    for piece in count.gone:
        show(f"found, but {state(piece)}: {piece.id}, {size(piece, shop)}")
    for id in count.unknown:
        near = likely(rack, id)
        show(f"not known: {id}" + (f"; is it {' or '.join(near)}?" if near else ""))


@click.command("labels")
@click.argument("ids", nargs=-1, metavar="[ID...]")
@click.option("--out", metavar="FILE.pdf", required=True, type=click.Path(path_type=Path), help="Where to write them.")
@click.option("--place", metavar="TEXT", help="Of the pieces at this place.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="Default as the shop file says.")
@click.option("--force", is_flag=True, help="Replace FILE if it exists.")
@with_where
@json_option
def labels(
    ids: tuple[str, ...],
    out: Path,
    place: str | None,
    paper: str | None,
    force: bool,
    where: str | None,
    shop: Path | None,
    as_json: bool,
) -> int:
    """Write labels to print, of all that is there or of the IDs given.

    Each tells id, thickness, grade, size, heat and place; its QR code says the id.
    """
    from nesting.rack.look import Filter
    from nesting.steps.rack_files import label_pieces

    own = shop_of(shop)
    with opened(where, own) as rack:
        pieces = [rack.piece(id) for id in ids] if ids else rack.listed(Filter(place=place))
    letter = (paper or own.paper) == "Letter"
    label_pieces(pieces, out, paper="Letter" if letter else "A4", lengths=lengths_of(own), force=force)
    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, "file": str(out), "ids": [p.id for p in pieces]})
    else:
        show(f"wrote {len(pieces)} labels to {out}")
    return DONE


@click.command("export")
@click.argument("file", metavar="FILE.json|FILE.csv", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace FILE if it exists.")
@with_where
@json_option
def export(file: Path, force: bool, where: str | None, shop: Path | None, as_json: bool) -> int:
    """Write the whole rack with its history (.json), or the pieces that are there as a table (.csv)."""
    from nesting.rack.look import Filter
    from nesting.rack.piece import STATES
    from nesting.steps.rack_files import export_rack

    with opened(where, shop_of(shop)) as rack:
        tell_mended(rack.listed(Filter(states=STATES)))
        count = export_rack(rack, file, force=force)
    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, "file": str(file), "pieces": count})
    else:
        show(f"wrote {count} pieces to {file}")
    return DONE


@click.command("import")
@click.argument("file", metavar="FILE.json|FILE.csv", type=click.Path(path_type=Path))
@with_act
@json_option
def import_(file: Path, where: str | None, shop: Path | None, who: str | None, note: str, as_json: bool) -> int:
    """Fill an empty rack from an export (.json), or add the pieces of a table (.csv).

    Of a table of your own a few columns will do: size_x_mm and size_y_mm for the shape, id, thickness_mm, grade,
    heat, place and others as an exported table has them.  All pieces come, or none.
    """
    from nesting.steps.rack_files import import_rack, read_import

    found = read_import(file)  # before a new rack is made for it
    with opened(where, shop_of(shop), create=True) as rack:
        count = import_rack(rack, found, who=who_is(who), note=note)
    if as_json:
        emit({"schema": SCHEMA, "exit_code": DONE, "file": str(file), "pieces": count})
    else:
        show(f"{count} pieces came from {file}")
    return DONE
