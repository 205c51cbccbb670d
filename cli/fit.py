"""What `oddplate parts` says of a part's fitness to cut, and the questions it writes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from cli import options
from cli.output import say, show

if TYPE_CHECKING:
    from nesting.fit.finding import Cutting, FitFinding
    from nesting.part import Part
    from nesting.report.drawing_questions import Stopped
    from nesting.shop import Shop

F = TypeVar("F", bound=Callable[..., Any])

_OPTIONS: Final = (
    click.option(
        "--process",
        type=click.Choice(("plasma", "oxy-fuel", "laser", "waterjet")),
        metavar="NAME",
        help="plasma, oxy-fuel, laser or waterjet; default the shop's, else plasma.",
    ),
    click.option("--amps", type=click.FloatRange(min=0.0), metavar="A", help="Amperage, for kerf and pierce limit."),
    click.option("--kerf", metavar="LENGTH", help="Width of cut; default measured in the shop, else the cut chart's."),
    click.option("--tab-thickness", metavar="LENGTH", help="Plate whose tabs enter the slots of these parts."),
    click.option(
        "--tab-over", metavar="LENGTH", help="How much thicker that plate may be; default the usual mill tolerance."
    ),
    click.option("--bend-radius", metavar="LENGTH", help="Inside radius of the bends of these parts."),
    click.option("--shop", metavar="FILE", type=click.Path(path_type=Path), help="Shop file; see 'oddplate shop'."),
    click.option(
        "--questions",
        metavar="FILE",
        type=click.Path(path_type=Path),
        help="Write questions for the designer, with pictures, to print: .html, or .txt for plain text.",
    ),
)
_NAMES: Final = ("process", "amps", "kerf", "tab_thickness", "tab_over", "bend_radius", "shop", "questions")


@dataclass(frozen=True, kw_only=True)
class Look:
    """All parts as looked at, what was found, and how they are to be cut."""

    parts: "tuple[Part, ...]"
    findings: "tuple[FitFinding, ...]"
    cutting: "Cutting"
    shop: "Shop"
    not_looked_at: tuple[str, ...]

    def of(self, part: "Part") -> "tuple[FitFinding, ...]":
        """Return the findings on one part."""
        return tuple(f for f in self.findings if f.part_id == part.id)


def with_fit_options(command: F) -> F:
    """Give a command the options of the fit checks."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def refuse(given: dict[str, Any], *, thickness: str | None, force: bool) -> None:
    """Refuse options that have no meaning without a thickness, and a file that may not be replaced."""
    if thickness is None:
        for name in _NAMES:
            if given[name] is not None:
                raise click.UsageError(f"--{name.replace('_', '-')} needs --thickness: what fits depends on it")
    path = given["questions"]
    if path is not None and path.suffix.lower() not in (".html", ".htm", ".txt"):
        raise click.BadParameter(f"{path.name}: give a name that ends in .html or .txt", param_hint="--questions")
    if path is not None and path.exists() and not force:
        raise click.BadParameter(f"{path} exists; --force replaces it", param_hint="--questions")


def look(
    parts: "Sequence[Part]", given: dict[str, Any], *, thickness_mm: float | None, grade: str | None
) -> Look | None:
    """Look at all parts; None where no thickness is said."""
    if thickness_mm is None:
        return None
    from dataclasses import replace

    from nesting.files.shop_file import read_shop
    from nesting.fit.looks import not_looked_at
    from nesting.shop import Shop
    from nesting.steps.fitting import cutting_of, look_at, numbered

    shop = read_shop(given["shop"]) if given["shop"] else Shop()
    if given["process"]:
        shop = replace(shop, process=given["process"], sources={**shop.sources, "process": "as given"})
    shop = shop if given["amps"] is None else replace(shop, amps=given["amps"])
    kerf = _length(given["kerf"])
    cutting = cutting_of(
        shop, thickness_mm=thickness_mm, grade=grade, kerf=None if kerf is None else (kerf, "as given")
    )
    tab, over, radius = (_length(given[name]) for name in ("tab_thickness", "tab_over", "bend_radius"))
    looked = tuple(
        replace(part, tab_thickness_mm=tab, tab_over_mm=over, bend_radius_mm=radius) for part in numbered(parts)
    )
    return Look(
        parts=looked,
        findings=look_at(looked, cutting),
        cutting=cutting,
        shop=shop,
        not_looked_at=not_looked_at(cutting, looked),
    )


def show_fit(looked: Look | None) -> None:
    """Show what was found, part by part, and what could not be looked at."""
    if looked is None:
        return
    cutting = looked.cutting
    kerf = "unknown" if cutting.kerf_mm is None else f"{cutting.kerf_mm:g} mm ({cutting.sources['kerf_mm']})"
    show()
    show(f"fit to cut, {cutting.plate} by {cutting.process} ({cutting.sources['process']}), kerf {kerf}:")
    for part in looked.parts:
        for finding in looked.of(part):
            show(f"  {finding.severity}: {part.name}: {finding.message}")
            show(f"    source: {finding.source}")
    if not looked.findings:
        show("  nothing found")
    for text in looked.not_looked_at:
        show(f"  note: {text}")


def fit_json(looked: Look | None) -> dict[str, Any]:
    """Return the keys that a look adds to the document."""
    if looked is None:
        return {"cutting": None, "fit": None}
    drawn = {p.id: {"drawing": p.source, "part": p.name} for p in looked.parts}
    return {
        "cutting": {**looked.cutting.as_json(), "not_looked_at": list(looked.not_looked_at)},
        "fit": [{**drawn[f.part_id], **f.as_json()} for f in looked.findings],
    }


def write_questions(
    looked: Look | None, path: Path | None, *, grade: str | None, stopped: "Sequence[Stopped]" = ()
) -> None:
    """Write the questions, if a file is named, those that stop a drawing too; say so where there is nothing to ask."""
    if looked is None or path is None:
        return
    from nesting.report.inquiry import inquiry
    from nesting.steps.fitting import write_inquiry

    if not looked.findings and not stopped:
        say(f"nothing to ask; {path} not written")
        return
    asked = inquiry(
        looked.parts,
        looked.findings,
        looked.cutting,
        title=path.stem,
        shop=looked.shop.name,
        unit=looked.shop.unit,
        grade=grade,
        stopped=stopped,
    )
    write_inquiry(asked, path, paper=looked.shop.paper)
    say(f"{asked.count} {'question' if asked.count == 1 else 'questions'} written to {path}")


def _length(text: str | None) -> float | None:
    from nesting.errors import InputError
    from nesting.lengths import parse_thickness

    if text is None:
        return None
    value = parse_thickness(str(options.length(text)), "mm")
    if value < 0.0:
        raise InputError(f"{text!r}: expected a length of 0 or more")
    return value
