"""Processor seconds to read drawings of 1,000 to 100,000 entities: the DXF library alone, and all of reading to parts.

    python tests/bench/reading.py [--largest 100000]

Prints a table in Markdown.  Each drawing is a sheet of equal parts of 48 lines and arcs and two round holes, their
entities shuffled, so that every contour must be found; `shared` are panels that share their cut lines.
"""

import argparse
import math
import random
import tempfile
import time
from pathlib import Path
from typing import Any

import ezdxf
from ezdxf.filemanagement import readfile

from nesting.drawing.reader import read_drawing

COUNTS = (1_000, 3_000, 10_000, 30_000, 100_000)
_TEETH = 12


def cog(space: Any, x: float, y: float) -> list[Any]:
    """Calls that draw a cog of 12 teeth, each three lines and an arc, with two holes: 50 entities."""
    calls = []
    for k in range(_TEETH):
        a, b, c = (math.tau * (k + part) / _TEETH for part in (0.0, 0.4, 1.0))
        p = [(x + r * math.cos(t), y + r * math.sin(t)) for r, t in ((20, a), (24, a), (24, b), (20, b))]
        calls += [(space.add_line, (p[i], p[i + 1])) for i in range(3)]
        calls.append((space.add_arc, ((x, y), 20, math.degrees(b), math.degrees(c))))
    return [*calls, (space.add_circle, ((x, y), 5)), (space.add_circle, ((x + 10, y), 3))]


def sheet_of_cogs(path: Path, count: int) -> None:
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    wide = math.ceil(math.sqrt(count / 50))
    calls = [call for k in range(count // 50) for call in cog(space, 60 * (k % wide), 60 * (k // wide))]
    random.Random(1).shuffle(calls)
    for draw, arguments in calls:
        draw(*arguments)
    document.saveas(path)


def shared_panels(path: Path, count: int) -> None:
    """A grid whose lines are shared by neighbours; every panel has a hole."""
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    wide = max(2, round(math.sqrt(count / 3)))
    for i in range(wide + 1):
        for j in range(wide):
            space.add_line((50 * i, 50 * j), (50 * i, 50 * j + 50))
            space.add_line((50 * j, 50 * i), (50 * j + 50, 50 * i))
    for i in range(wide):
        for j in range(wide):
            space.add_circle((50 * i + 25, 50 * j + 25), 8)
    document.saveas(path)


def seconds(call: Any, path: Path) -> tuple[float, Any]:
    start = time.process_time()
    result = call(path)
    return time.process_time() - start, result


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--largest", type=int, default=COUNTS[-1])
    largest = parser.parse_args().largest
    print("| drawing | entities | library alone, s | with all of reading, s | parts | reading per 1,000 entities, ms |")
    print("| --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as folder:
        for name, draw in (("parts", sheet_of_cogs), ("shared lines", shared_panels)):
            for count in (c for c in COUNTS if c <= largest):
                path = Path(folder) / "drawing.dxf"
                draw(path, count)
                alone, document = seconds(readfile, path)
                entities = len(document.modelspace())
                del document
                whole, read = seconds(read_drawing, path)
                each = 1e6 * (whole - alone) / entities
                row = (name, f"{entities:,}", f"{alone:.2f}", f"{whole:.2f}", f"{len(read.parts):,}", f"{each:.0f}")
                print(f"| {' | '.join(row)} |", flush=True)


if __name__ == "__main__":
    main()
