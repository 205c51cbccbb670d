"""Result folders that appear whole: written beside the target, renamed into place, recovered if cut off."""

import os
import shutil
from collections.abc import Collection
from pathlib import Path
from typing import Final

from nesting.errors import CannotWriteError, InputError

DRAWING: Final = "layout.dxf"
LAYOUT: Final = "layout.json"
SHEETS: Final = ("cut-sheet.pdf", "cut-sheet.html", "labels.pdf")
"""What is printed for the table and for the parts."""

MADE_WITH: Final = "made-with.json"
"""The shop as it stood, and how the drawing was written: for sheets printed again."""

FILES: Final = (
    DRAWING,
    LAYOUT,
    MADE_WITH,
    "layout.png",
    "layout.svg",
    "report.html",
    "report.pdf",
    "report.json",
    "report.csv",
    *SHEETS,
)
"""All that a result folder holds, by name."""

AT_NEED: Final = ("questions.html", "questions.txt")
"""What it holds besides where there is something to ask of a designer."""

TRUE_SIZE: Final = "drawing.svg"
"""The drawing as SVG, where asked for."""

SETTLED: Final = "settled.json"
SETTLED_PICTURE: Final = "settled.png"
DRY_RUN_TEXT: Final = "dry-run.txt"
DRY_RUN_TABLE: Final = "dry-run.csv"
ON_TABLE: Final = (SETTLED, SETTLED_PICTURE, DRY_RUN_TEXT, DRY_RUN_TABLE)
"""What the folder of a layout that was settled on the table holds besides drawing and layout."""

OF_A_RUN: Final = (*FILES, *AT_NEED, TRUE_SIZE, *ON_TABLE)
"""Everything that may stand in the folder of a layout."""


def refuse_taken(folder: Path, *, force: bool, ours: Collection[str] = OF_A_RUN) -> None:
    """Raise `InputError` if a folder exists and may not be replaced, `CannotWriteError` if it cannot be made.

    Even `force` replaces only what an earlier run wrote, by the names in `ours`: a folder holding anything else is
    never taken away.
    """
    if not _named(folder):
        raise InputError(f"{folder}: is the top of a disk, which no run replaces; choose an output folder below it")
    if Path.cwd().is_relative_to(folder):
        raise InputError(f"{folder}: you stand in this folder; choose an output folder below it")
    _refuse_unwritable(folder)
    if not folder.exists():
        return
    if not folder.is_dir():
        raise InputError(f"{folder}: is a file, not a folder; choose another output folder")
    strangers = sorted(p.name for p in folder.iterdir() if p.name not in ours)
    if strangers:
        raise InputError(
            f"{folder}: holds files that no run wrote ({', '.join(strangers[:5])}); choose another output folder"
        )
    if not force and any(folder.iterdir()):
        raise InputError(f"{folder}: exists already; use --force to replace it, or choose another output folder")


def _refuse_unwritable(folder: Path) -> None:
    """Tell before a search, not after it, that its result cannot be written."""
    above = next((p for p in folder.absolute().parents if p.exists()), None)
    if above is not None and not above.is_dir():
        raise CannotWriteError(f"{folder}: cannot be written: {above} is a file, not a folder; choose another")
    if above is not None and not os.access(above, os.W_OK | os.X_OK):
        raise CannotWriteError(f"{folder}: cannot be written: no right to write in {above}; choose another folder")


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
    if not _named(target):
        return ""  # nothing was ever written beside it
    aside = _aside(target)
    if not aside.exists():
        return ""
    if target.exists():
        shutil.rmtree(aside, ignore_errors=True)
        return f"{target}: an earlier run was cut off after it had replaced this folder; the former is cleared"
    aside.rename(target)
    return f"{target}: an earlier run was cut off while it replaced this folder; the former one is put back"


def _named(folder: Path) -> bool:
    """False for the top of a disk, which has no name to write another beside."""
    return bool(folder.absolute().name)


def _aside(target: Path) -> Path:
    return target.with_name(f".{target.name}.before")


def stage(folder: Path) -> Path:
    """Make the folder beside the target in which a run is written."""
    staged = folder.with_name(f".{folder.name}.new-{os.getpid()}")
    shutil.rmtree(staged, ignore_errors=True)
    try:
        staged.mkdir(parents=True)
    except OSError as error:
        raise CannotWriteError(f"{folder}: cannot be written: {error.strerror or error}") from None
    return staged
