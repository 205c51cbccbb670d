"""The whole way of one job: search, check, write, read back, report; released together or not at all."""

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol

from nesting.check import CheckReport, check_drawing, check_layout
from nesting.drawing.writer import write_drawing
from nesting.errors import CheckFailed, InputError
from nesting.layout import Layout
from nesting.layout_file import identified, save_layout
from nesting.order import Order
from nesting.report.facts import YieldReport
from nesting.report.files import write_report

if TYPE_CHECKING:
    from nesting.search.engine import Progress

DRAWING: Final = "layout.dxf"
LAYOUT: Final = "layout.json"
FILES: Final = (
    DRAWING,
    LAYOUT,
    "layout.png",
    "layout.svg",
    "report.html",
    "report.json",
    "report.csv",
)
"""All that a result folder holds, by name."""


class Place(Protocol):
    """Whatever lays parts on a plate; `search` is one."""

    def __call__(
        self, order: Order, on_progress: "OnProgress | None", should_stop: "ShouldStop | None"
    ) -> Layout:
        """Return a layout of the order."""


OnProgress = Callable[["Progress"], None]
ShouldStop = Callable[[], bool]


@dataclass(frozen=True, kw_only=True)
class Result:
    """What a run left behind; every file of `folder` carries the layout's id."""

    layout: Layout
    report: YieldReport
    check: CheckReport
    folder: Path
    recovered: str = ""


def place_by_search(order: Order, on_progress: OnProgress | None, should_stop: ShouldStop | None) -> Layout:
    """Lay the order's parts out by the search."""
    from nesting.search.engine import search  # its compiled kernels load only where a search runs

    return search(
        order.plate,
        order.demands,
        order.clearances,
        seed=order.search.seed,
        time_limit_s=order.search.time_limit_s,
        steps=order.search.steps,
        threads=order.search.threads,
        on_progress=on_progress,
        should_stop=should_stop,
    )


def run_job(
    order: Order,
    *,
    force: bool = False,
    on_progress: OnProgress | None = None,
    should_stop: ShouldStop | None = None,
    place: Place = place_by_search,
) -> Result:
    """Search, check, and write the result folder.

    When `should_stop` turns true the best layout so far goes the same way.  Raises `InputError` before the
    search where the folder may not be written, `CheckFailed` where layout or drawing break a clearance: then
    nothing is written.
    """
    folder = order.folder.resolve()
    recovered = recover(folder)
    refuse_taken(folder, force=force)
    layout = identified(place(order, on_progress, should_stop))
    _require(check_layout(layout))
    staged = _staging(folder)
    try:
        report, check = _write(order, layout, staged)
        # The search may have taken minutes: what has come to stand there since is not taken away either.
        refuse_taken(folder, force=force)
        release(staged, folder)
    finally:
        shutil.rmtree(staged, ignore_errors=True)
    return Result(layout=layout, report=report, check=check, folder=order.folder, recovered=recovered)


def _staging(folder: Path) -> Path:
    """Make the folder beside the target in which a run is written."""
    staged = folder.with_name(f".{folder.name}.new-{os.getpid()}")
    shutil.rmtree(staged, ignore_errors=True)
    staged.mkdir(parents=True)
    return staged


def _write(order: Order, layout: Layout, folder: Path) -> tuple[YieldReport, CheckReport]:
    """Write all files of a run into a folder; raise `CheckFailed` if the drawing does not read back right."""
    save_layout(layout, folder / LAYOUT)
    write_drawing(layout, folder / DRAWING, version=order.version, unit=order.unit)
    check = _require(check_drawing(folder / DRAWING, layout=layout))
    report = write_report(layout, order, check, folder)
    return report, check


def _require(check: CheckReport) -> CheckReport:
    if not check.passed:
        faults = "\n".join(f.message for f in check.findings)
        raise CheckFailed(f"the layout breaks a clearance and is not released:\n{faults}")
    return check


def refuse_taken(folder: Path, *, force: bool) -> None:
    """Raise `InputError` if a folder exists and may not be replaced.

    Even `force` replaces only what an earlier run wrote: a folder holding anything else is never taken away.
    """
    if Path.cwd().is_relative_to(folder):
        raise InputError(f"{folder}: you stand in this folder; choose an output folder below it")
    if not folder.exists():
        return
    if not folder.is_dir():
        raise InputError(f"{folder}: is a file, not a folder; choose another output folder")
    strangers = sorted(p.name for p in folder.iterdir() if p.name not in FILES)
    if strangers:
        raise InputError(
            f"{folder}: holds files that no run wrote ({', '.join(strangers[:5])}); "
            "choose another output folder"
        )
    if not force and any(folder.iterdir()):
        raise InputError(
            f"{folder}: exists already; use --force to replace it, or choose another output folder"
        )


def release(staged: Path, target: Path) -> None:
    """Put a written folder in the place of another, whole.

    The former folder is renamed aside first and taken away last, so that at every moment either it or the new
    one is there whole; `recover` puts it back if the run is cut off between the two renames.
    """
    aside = _aside(target)
    if target.exists():
        target.rename(aside)
    try:
        staged.rename(target)
    except BaseException:
        if aside.exists() and not target.exists():
            aside.rename(target)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def recover(target: Path) -> str:
    """Put back or clear what a run that was cut off left beside its folder; return a sentence about it."""
    aside = _aside(target)
    if not aside.exists():
        return ""
    if target.exists():
        shutil.rmtree(aside, ignore_errors=True)
        return (
            f"{target}: an earlier run was cut off after it had replaced this folder; the former is cleared"
        )
    aside.rename(target)
    return f"{target}: an earlier run was cut off while it replaced this folder; the former one is put back"


def _aside(target: Path) -> Path:
    return target.with_name(f".{target.name}.before")
