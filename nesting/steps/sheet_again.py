"""Cut sheet and labels of a layout in a folder, made again: on other paper, in another unit, with rack names."""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from nesting.drawing.cut_order import cut_order
from nesting.errors import InputError
from nesting.files.layout_file import load_layout
from nesting.files.release import LAYOUT, MADE_WITH, SETTLED
from nesting.files.shop_file import read_shop
from nesting.layout import Layout
from nesting.leads import Leads, leads_of
from nesting.remnant import balance
from nesting.report.facts import YieldReport
from nesting.report.figures import figures
from nesting.report.sheet.files import Sheets, sheets
from nesting.report.sheet.words import Lengths
from nesting.shop import Paper, Shop
from nesting.steps.fitting import cutting_from, look_at
from nesting.steps.made_with import MadeWith, load_made_with
from nesting.tables import Process
from nesting.units import Unit


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """What is to be otherwise than in the run; None leaves it as it was."""

    shop: Path | None = None
    process: Process | None = None
    amps: float | None = None
    title: str | None = None
    unit: Unit | None = None
    paper: Paper | None = None
    rack_ids: Mapping[str, str] | None = None
    heat: str | None = None


@dataclass(frozen=True, kw_only=True)
class SheetsAgain:
    """What was made, of which layout, in which unit and for which paper; `notes` say what had to be assumed."""

    layout: Layout
    report: YieldReport
    sheets: Sheets
    unit: Unit
    paper: Paper
    notes: tuple[str, ...]


def layout_path(given: Path) -> Path:
    """Return the layout file meant by a result folder or the file itself; raise `InputError` where there is none."""
    path = given / LAYOUT if given.is_dir() else given
    if not path.is_file():
        what = "holds no layout.json: not a result folder" if given.is_dir() else "no such file or folder"
        raise InputError(f"{given}: {what}; give a result folder of 'oddplate nest', or its layout.json")
    return path


def sheets_again(path: Path, wishes: Wishes) -> SheetsAgain:
    """Make cut sheet and labels of a layout file.

    The shop is the one given, else the one of the run, which lies beside the layout.  Raises `InputError` as
    `load_layout` and `read_shop`, and for a rack id of a leftover that there is not; `BalanceError` as `balance`.
    """
    layout = load_layout(path)
    former = load_made_with(path.with_name(MADE_WITH), layout.id)
    made, notes = _wanted(layout, path, former, wishes)
    if wishes.heat:
        if layout.plate.heat not in (None, wishes.heat):
            notes.append(f"heat {wishes.heat} is printed; the layout was made for a plate of heat {layout.plate.heat}")
        layout = replace(layout, plate=replace(layout.plate, heat=wishes.heat))
    leads = leads_of(layout) if made.mark_leads else Leads()
    order = cut_order(layout, leads, same_inside=made.blocks)
    areas = balance(layout, made.shop)
    _refuse_strange(wishes.rack_ids or {}, [r.label for r in areas.kept])
    fit = look_at((d.part for d in layout.demands), cutting_from(made.shop, layout.plate, layout.clearances))
    report = figures(layout, made.shop, areas=areas, drawings=made.drawings, fit=fit, travel_mm=order.travel_mm)
    printed = sheets(
        layout,
        report,
        areas=areas,
        order=order,
        title=made.title,
        lengths=Lengths(unit=made.unit, fraction=made.shop.inch_fractions),
        paper=made.paper,
        rack_ids=wishes.rack_ids,
        on_table=path.with_name(SETTLED).is_file(),
    )
    return SheetsAgain(
        layout=layout, report=report, sheets=printed, unit=made.unit, paper=made.paper, notes=tuple(notes)
    )


def refuse_taken(folder: Path, names: Sequence[str], *, force: bool) -> None:
    """Raise `InputError` where a file is there that may not be replaced, or the folder is none."""
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: is a file, not a folder; choose another with --out")
    taken = [name for name in names if (folder / name).exists()]
    if taken and not force:
        raise InputError(f"{folder / taken[0]}: exists already; use --force to replace it, or --out for another folder")


def write_sheets(made: Sheets, folder: Path, names: Sequence[str]) -> tuple[Path, ...]:
    """Write as many of the files as there are names for, each beside its place and then renamed."""
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for name, content in zip(names, made.contents, strict=False):
        beside = folder / f".{name}.{os.getpid()}"
        try:
            beside.write_bytes(content)
            beside.replace(folder / name)
        finally:
            beside.unlink(missing_ok=True)
        files.append(folder / name)
    return tuple(files)


def _wanted(layout: Layout, path: Path, former: MadeWith | None, wishes: Wishes) -> tuple[MadeWith, list[str]]:
    """Return what the sheets are made with: what is wished, else as the run had it, else the usual."""
    notes = []
    shop = read_shop(wishes.shop) if wishes.shop else None
    if former is None:
        taken = shop or Shop()
        former = MadeWith(
            layout_id=layout.id, title=path.parent.resolve().name, shop=taken, unit=taken.unit, paper=taken.paper
        )
        notes.append(f"{path.parent / MADE_WITH}: not there, or of another layout: cutting order as without lead-ins")
        if shop is None:
            notes.append("no shop file given: the usual keep sizes and hand-lift figure are taken; --shop FILE")
    base = shop or former.shop
    changed = replace(base, process=wishes.process or base.process)
    amps = wishes.amps if wishes.amps is not None else base.amps if base.amps is not None else former.shop.amps
    return (
        replace(
            former,
            shop=replace(changed, amps=amps),
            title=wishes.title or former.title,
            unit=wishes.unit or (shop.unit if shop else former.unit),
            paper=wishes.paper or (shop.paper if shop else former.paper),
        ),
        notes,
    )


def _refuse_strange(rack_ids: Mapping[str, str], labels: list[str]) -> None:
    strange = [name for name in rack_ids if name not in labels]
    if strange:
        there = ", ".join(labels) or "none"
        raise InputError(f"--chalk {strange[0]}: no such leftover of this layout; there are: {there}")
