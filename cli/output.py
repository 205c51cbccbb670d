"""What reaches the user: one JSON document or a table on stdout; progress, questions and faults on stderr."""

import json
import math
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

if TYPE_CHECKING:
    from nesting.drawing.findings import Finding
    from nesting.fit.finding import FitFinding
    from nesting.search.engine import Progress

T = TypeVar("T")

PLAIN_EVERY_S: Final = 5.0
"""Seconds between lines of progress where stderr is no terminal."""

json_option = click.option("--json", "as_json", is_flag=True, help="One JSON document on stdout.")


def emit(document: dict[str, Any]) -> None:
    """Write the one JSON document of a command; a number that JSON does not know is a bug, not output."""
    sys.stdout.write(json.dumps(document, indent=2, allow_nan=False) + "\n")
    sys.stdout.flush()


def say(text: str) -> None:
    """Write a line for people."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def show(text: str = "") -> None:
    """Write a line of the result for people."""
    sys.stdout.write(text + "\n")


def near(path: Path) -> Path:
    """Return a path as people read it: from the current folder, where it lies inside."""
    here = Path.cwd()
    return path.relative_to(here) if path.is_relative_to(here) else path


def there(path: Path) -> Path:
    """Return the path of a folder that was written, as it was said where that leads to it.

    Writing resolves it first: of `new/../out` the folder `new` need not be there, and is not made.
    """
    return path if path.exists() else path.resolve()


def can_ask(as_json: bool) -> bool:
    """True if somebody sits at a terminal and no program reads the answer."""
    return not as_json and sys.stdin.isatty() and sys.stderr.isatty()


def show_table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Write columns; text to the left, everything that starts like a number to the right."""
    table = [list(header), *([str(cell) for cell in row] for row in rows)]
    widths = [max(len(line[i]) for line in table) for i in range(len(header))]
    right = [bool(rows) and all(_numeric(row[i]) for row in rows) for i in range(len(header))]
    for line in table:
        cells = (c.rjust(w) if r else c.ljust(w) for c, w, r in zip(line, widths, right, strict=True))
        show("  ".join(cells).rstrip())


def _numeric(cell: str) -> bool:
    return not cell or cell == "-" or cell[:1].isdigit()


def finding_line(name: str, finding: "Finding") -> str:
    """Write one finding with its drawing, entity and place."""
    entity = f", {finding.entity}" if finding.entity and finding.entity not in finding.message else ""
    place = f" at ({finding.place[0]:.2f}, {finding.place[1]:.2f}) mm" if finding.place else ""
    message = finding.message.removeprefix(f"{name}: ")
    return f"{finding.severity}: {name}{entity}{place}: {message}"


def finding_json(finding: "Finding") -> dict[str, Any]:
    """Return a finding for a JSON document."""
    return {
        "kind": finding.kind,
        "severity": finding.severity,
        "message": finding.message,
        "place_mm": list(finding.place) if finding.place else None,
        "entity": finding.entity,
        "size_mm": None if finding.size_mm is None else round(finding.size_mm, 4),
    }


def tell_fit(findings: "Iterable[FitFinding]", names: dict[str, str], *, notes: bool = False) -> None:
    """Say what may not come out of the cut as drawn; notes only where they are asked for."""
    for finding in findings:
        if notes or finding.severity != "note":
            say(f"{finding.severity}: {names.get(finding.part_id, finding.part_id)}: {finding.message}")


def progress() -> AbstractContextManager[Callable[["Progress"], None]]:
    """Show how the search goes."""
    return live(_progress_line)


@contextmanager
def live(written: Callable[[T], str]) -> Iterator[Callable[[T], None]]:
    """Show how something goes: a live line on a terminal, a plain line every few seconds elsewhere."""
    if not sys.stderr.isatty():
        yield _plain_lines(written)
        return
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    with Live(Text("starting the search"), console=Console(stderr=True), transient=True) as shown:
        yield lambda seen: shown.update(Text(written(seen)))


def _plain_lines(written: Callable[[T], str]) -> Callable[[T], None]:
    last = -math.inf

    def line(seen: T) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last >= PLAIN_EVERY_S:
            last = now
            say(written(seen))

    return line


def _progress_line(seen: "Progress") -> str:
    wanted = "" if seen.wanted is None else f" of {seen.wanted}"
    left = max(0.0, seen.time_limit_s - seen.seconds)
    use = f"utilisation {seen.utilisation:.1%}"
    return f"{seen.phase}: {seen.placed}{wanted} parts placed, {use}, {left:.0f} s left"
