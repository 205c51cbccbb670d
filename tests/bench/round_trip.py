"""Read, place, write and re-read all real drawings in every way of writing: `python tests/bench/round_trip.py`.

Prints a table by way of writing: drawings that came back the same, the largest differences, and those that did not.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from round_trips import WRITINGS, corpus, laid_out, parts_of, round_trip

from nesting.errors import DrawingError


def main() -> int:
    """Run over the folder; 1 if any drawing differs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=corpus())
    folder = parser.parse_args().folder
    files = sorted(p for p in folder.rglob("*") if p.suffix.lower() == ".dxf")
    if not files:
        print(f"no drawings in {folder}")
        return 1
    layouts, refused = {}, 0
    for file in files:
        try:
            layouts[file] = laid_out(parts_of(file))
        except DrawingError:
            refused += 1
    parts = sum(len(x.placements) for x in layouts.values())
    print(f"{len(files)} drawings, {refused} hold no part or are refused; {parts} parts in {len(layouts)}", flush=True)
    bad = 0
    with tempfile.TemporaryDirectory() as out:
        for name, writing in WRITINGS.items():
            begun, same, area, length = time.monotonic(), 0, 0.0, 0.0
            for file, layout in layouts.items():
                try:
                    found = round_trip(layout, writing, Path(out) / "out.dxf")
                except (AssertionError, DrawingError) as error:
                    bad += 1
                    print(f"  {name}: {file.relative_to(folder)}: {error}")
                    continue
                same, area, length = same + 1, max(area, found.area), max(length, found.length)
            took = time.monotonic() - begun
            print(f"{name:24} {same:4} the same, area to {area:.1e}, length to {length:.1e}, {took:.0f} s", flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
