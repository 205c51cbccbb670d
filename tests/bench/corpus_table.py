"""What reading gives for each real drawing of a folder, as a table in Markdown for docs/drawings.md.

    python tests/bench/corpus_table.py ../shared/dxf-corpus

A drawing that does not say its unit is read in millimetres, or in the unit that `expected.json` beside it names.
"""

import json
import sys
from collections import Counter
from pathlib import Path

from nesting.drawing.reader import Drawing, read_drawing
from nesting.errors import DrawingError, UnitsUnknownError
from nesting.units import Unit

SHORT = {
    "gap bridged": "gap bridged",
    "shared lines": "joints",
    "repaired": "repaired",
    "open line": "open line",
    "open line inside": "open line",
    "loose island": "loose island",
    "open contour": "**open contour**",
    "hole at edge": "hole at edge",
    "nearly the same": "drawn twice",
    "broken outline": "**broken outline**",
    "contours cross": "**crossing**",
    "crosses itself": "**crossing itself**",
    "unreadable entity": "**unreadable entity**",
    "missing block": "**missing block**",
    "circle in circle": "**circle in circle**",
}
REFUSALS = ("drawing sheet", "web page", "no closed contour", "nothing to cut", "cannot be read", "damaged")


def read(path: Path, unit: Unit) -> tuple[Drawing | str, bool]:
    """Return the drawing or why it was refused, and whether its unit had to be asked for."""
    asked = False
    try:
        try:
            return read_drawing(path), asked
        except UnitsUnknownError:
            asked = True
            return read_drawing(path, units=unit), asked
    except DrawingError as error:
        return next((reason for reason in REFUSALS if reason in str(error)), str(error)[:60]), asked


def told(drawing: Drawing) -> str:
    """Kinds of warnings and, in bold, errors with their number."""
    kinds = Counter(SHORT.get(f.kind, f.kind) for f in drawing.findings if f.severity != "note")
    return ", ".join(f"{count} x {kind}" if count > 1 else kind for kind, count in sorted(kinds.items()))


def main() -> None:
    folder = Path(sys.argv[1])
    answers_path = folder / "expected.json"
    answers = json.loads(answers_path.read_text(encoding="utf-8")) if answers_path.exists() else {}
    print("| drawing | unit | parts | holes | warnings and **errors** |")
    print("| --- | --- | --- | --- | --- |")
    before = ""
    for path in sorted(p for p in folder.rglob("*") if p.suffix.lower() == ".dxf"):
        name = path.relative_to(folder).as_posix()
        inch = answers.get(name, {}).get("units", "").startswith("inch")
        result, asked = read(path, "inch" if inch else "mm")
        parent, _, file = name.rpartition("/")
        if parent != before:
            print(f"| *{parent.replace('__', '/')}* | | | | |")
            before = parent
        if isinstance(result, str):
            print(f"| {file} | {'asked' if asked else ''} | - | - | **refused: {result}** |")
        else:
            unit = f"{result.unit}{', asked' if asked else ''}"
            holes = sum(len(part.holes) for part in result.parts)
            print(f"| {file} | {unit} | {len(result.parts)} | {holes} | {told(result)} |")


if __name__ == "__main__":
    main()
