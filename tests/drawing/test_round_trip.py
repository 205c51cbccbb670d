"""Real drawings written and read back: same contours, holes, areas, circles still circles.

A slice of the corpus in each way of writing; `tests/bench/round_trip.py` takes all drawings through all of them.
"""

from pathlib import Path

import pytest
from round_trips import WRITINGS, corpus, laid_out, parts_of, round_trip

from nesting.errors import DrawingError

CORPUS = corpus()
_LARGEST = 150_000

CROSSED = "trolley mockup laser cut box.dxf"
"""Two of its gears have a hole that reaches out of the outline; such a drawing is refused when it is read back."""


def slices() -> list[tuple[str, str]]:
    """Every small drawing with one way of writing, all ways in turn."""
    files = sorted(p for p in CORPUS.rglob("*") if p.suffix.lower() == ".dxf" and p.stat().st_size < _LARGEST)
    names = list(WRITINGS)
    return [(f.relative_to(CORPUS).as_posix(), names[i % len(names)]) for i, f in enumerate(files) if f.name != CROSSED]


@pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus of real drawings is not beside the checkout")
@pytest.mark.parametrize(("name", "way"), slices())
def test_what_is_written_reads_back_the_same(tmp_path: Path, name: str, way: str) -> None:
    try:
        layout = laid_out(parts_of(CORPUS / name))
    except DrawingError:
        return  # holds no part, which `test_corpus.py` looks at
    found = round_trip(layout, WRITINGS[way], tmp_path / "out.dxf")
    assert found.area <= 1e-6 or WRITINGS[way].arcs_only
