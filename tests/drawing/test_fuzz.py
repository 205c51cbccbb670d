"""Drawings made wrong at random: parts or a refusal in plain words, never another exception.

A small slice; `tests/bench/fuzz.py` reads them by the thousand.
"""

from pathlib import Path

import pytest
from bench.mutated import mutated

from nesting.drawing.reader import read_drawing
from nesting.errors import InputError


@pytest.mark.parametrize("start", range(0, 240, 40))
def test_mutated_drawings_are_read_or_refused(tmp_path: Path, start: int) -> None:
    for seed in range(start, start + 40):
        ending, content = mutated(seed)
        path = tmp_path / f"mutated{ending}"
        path.write_bytes(content)
        try:
            drawing = read_drawing(path, units="mm")
        except InputError as error:
            assert str(error).startswith(path.name), f"seed {seed}"
        else:
            assert all(part.area_mm2 > 0.0 and part.fine_polygon.is_valid for part in drawing.parts), f"seed {seed}"
