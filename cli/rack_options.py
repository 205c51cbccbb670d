"""What all commands of the rack share: where it is, whose shop it is, who is at work."""

import getpass
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from cli.output import say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from nesting.files.job import Job
    from nesting.plate import Plate
    from nesting.rack.piece import Listed
    from nesting.rack.store import Rack
    from nesting.rack.worth import Worth
    from nesting.report.sheet.words import Lengths
    from nesting.shop import Shop
    from nesting.steps.order import FromRack, Questions
    from nesting.units import Unit

F = TypeVar("F", bound=Callable[..., Any])

SCHEMA: Final = "oddplate-rack/1"
DEFAULT_RACK: Final = str(Path(click.get_app_dir("oddplate")) / "rack.db")
DEFAULT_SHOP: Final = Path("shop.toml")

_WHERE: Final = (
    click.option("--rack", "where", metavar="FILE|URL", envvar="ODDPLATE_RACK", help="The rack; see 'oddplate rack'."),
    click.option(
        "--shop",
        metavar="FILE",
        envvar="ODDPLATE_SHOP",
        type=click.Path(path_type=Path),
        help="Shop file: prices, sizes to keep, where the rack is; default shop.toml, if it is here.",
    ),
)
_DONE: Final = (
    click.option("--who", metavar="TEXT", envvar="ODDPLATE_WHO", help="Who does it; default the user's name."),
    click.option("--note", metavar="TEXT", default="", help="A word on it, for the history."),
)


def with_where(command: F) -> F:
    """Give a command the options that say which rack and which shop."""
    return _with(command, _WHERE)


def with_act(command: F) -> F:
    """Give a command the options of an act: which rack, who, a note."""
    return _with(command, (*_WHERE, *_DONE))


def _with(command: F, added: tuple[Callable[[F], F], ...]) -> F:
    for one in reversed(added):
        command = one(command)
    return command


def shop_of(path: Path | None) -> "Shop":
    """Return the shop: of the file named, else of shop.toml here, else one of which nothing is known."""
    from nesting.files.shop_file import read_shop
    from nesting.shop import Shop

    if path is not None:
        return read_shop(path)
    return read_shop(DEFAULT_SHOP) if DEFAULT_SHOP.exists() else Shop()


def place_of(where: str | None, shop: "Shop") -> str:
    """Return where the rack is: as said, else as the shop file says, else in the user's own settings."""
    return where or shop.rack or DEFAULT_RACK


def opened(where: str | None, shop: "Shop", *, create: bool = False) -> "Rack":
    """Open the rack; with `create` make one where there is none, and say where."""
    from nesting.rack.store import open_rack

    place = place_of(where, shop)
    new = create and "://" not in place and not Path(place).exists()
    if new and place == DEFAULT_RACK:
        Path(place).parent.mkdir(parents=True, exist_ok=True)
    rack = open_rack(place, create=create)
    if new:
        say(f"note: a new rack was made: {rack.where}")
    return rack


def from_rack(where: str | None, *, accept_unknown_grade: bool, take: bool = False) -> "FromRack":
    """Return what gives a job its plate from the rack: the rack is opened only if the job asks for it.

    With `take` the piece is set aside for the job, unless it is so already.
    """

    def given(job: "Job", shop: "Shop", asked: "Questions") -> "tuple[Plate, tuple[str, ...]]":
        from nesting.steps.from_rack import plate_from_rack

        with opened(where, shop) as rack:
            plate, notes = plate_from_rack(rack, job, shop, asked, accept_unknown_grade=accept_unknown_grade)
            if take and rack.piece(plate.name).set_aside_for != job.name:
                rack.set_aside([plate.name], job.name, who=who_is(os.environ.get("ODDPLATE_WHO")))
                notes = (*notes, f"{plate.name} was set aside for {job.name}")
            return plate, notes

    return given


def who_is(said: str | None) -> str:
    """Return who is at work: as said, else the user's name."""
    if said:
        return said
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a user without a name, as in some containers
        return "unknown"


def tell_mended(pieces: "Iterable[Listed]") -> None:
    """Say which figures of pieces cannot be, and are taken as unknown, and how to put them right."""
    for piece in pieces:
        there = piece.state in ("on the rack", "set aside")
        what = f"; put it right with 'oddplate rack edit {piece.id}'" if there else ""
        for wrong in piece.mended:
            say(f"warning: {piece.id}: {wrong}; taken as unknown{what}")


def known(value: object, form: str = "{}") -> str:
    """Return a value for people, or a dash where it is not known."""
    return "-" if value is None else form.format(value)


def lengths_of(shop: "Shop") -> "Lengths":
    """Return how lengths are said in a shop."""
    from nesting.report.sheet.words import Lengths

    return Lengths(unit=shop.unit, fraction=shop.inch_fractions)


def size(piece: "Listed", shop: "Shop") -> str:
    """Return the size over all with its unit, longer side first."""
    told = lengths_of(shop)
    sides = sorted((piece.summary.size_x_mm, piece.summary.size_y_mm), reverse=True)
    return f"{told.rough(sides)} {told.sign}"


def thick(thickness_mm: float | None, shop: "Shop") -> str:
    """Return a thickness as a word among others."""
    return f"{lengths_of(shop).fine(thickness_mm)} thick" if thickness_mm else "thickness unknown"


def mass(found: "Worth", unit: "Unit") -> str:
    """Return a mass for people, kg or lb, without its unit; a tilde says that the material was assumed."""
    told = weight(found.mass_kg, unit)
    return "-" if told is None else f"{told}{'~' if found.assumed else ''}"


def weight(mass_kg: float | None, unit: "Unit") -> str | None:
    """Return kg or lb without the unit; None if it is not known."""
    from nesting.report.wording import measures

    told = measures(unit)["mass"].shown(mass_kg)
    return None if told is None else f"{told:.1f}"


def mass_unit(unit: "Unit") -> str:
    """Return what a mass is said in."""
    from nesting.report.wording import measures

    return measures(unit)["mass"].unit


def state(piece: "Listed") -> str:
    """Return the state, and for which job."""
    return f"set aside for {piece.set_aside_for}" if piece.set_aside_for else piece.state
