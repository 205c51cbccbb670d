"""`oddplate shop`: a first shop file to fill in."""

from pathlib import Path

import click

from cli.codes import DONE
from cli.output import emit, json_option, show
from nesting.errors import InputError


@click.command("shop")
@click.argument("file", default="shop.toml", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace FILE if it exists.")
@json_option
def command(file: Path, force: bool, as_json: bool) -> int:
    """Write a first shop file, FILE (shop.toml), to fill in.

    It holds prices per kilogram, the leftover sizes worth keeping, measured kerf, your own cut-chart
    rows, table travel, lift limit and paper, each with the default that is taken where you say nothing.
    A job names it with shop = "shop.toml".
    """
    from nesting.files.shop_file import FIRST_SHOP

    try:
        with file.open("w" if force else "x", encoding="utf-8") as out:
            out.write(FIRST_SHOP)
    except FileExistsError:
        raise InputError(f"{file}: exists already; use --force to replace it, or give another name") from None
    if as_json:
        emit({"schema": "oddplate-shop/1", "file": str(file)})
    else:
        show(f"wrote {file}; take the # from the lines you want to use")
    return DONE
