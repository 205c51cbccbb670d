"""Compiled code is kept for the sources it was made from, and for no others."""

from pathlib import Path

import pytest
from crowds import COMPILED

from nesting.search.kernels import compiled
from nesting.search.kernels.compiled import forget_older


def test_compiled_code_is_forgotten_when_any_source_changes(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("one")
    (tmp_path / "b.py").write_text("two")
    cache = tmp_path / "__pycache__"
    cache.mkdir()

    def kept() -> list[str]:
        return sorted(p.name for p in cache.iterdir() if p.suffix in (".nbi", ".nbc", ".pyc"))

    def compile_all() -> None:
        for name in ("a.f-1.py311.nbi", "a.f-1.py311.1.nbc", "a.cpython-311.pyc"):
            (cache / name).write_bytes(b"x")

    compile_all()
    forget_older(cache, tmp_path)  # nobody knows what these were made from
    assert kept() == ["a.cpython-311.pyc"]

    compile_all()
    forget_older(cache, tmp_path)
    assert len(kept()) == 3

    (tmp_path / "b.py").write_text("too")
    forget_older(cache, tmp_path)
    assert kept() == ["a.cpython-311.pyc"]


def test_a_folder_that_cannot_be_written_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("one")
    cache = tmp_path / "cache"
    cache.write_text("a file where the folder would be")

    forget_older(cache, tmp_path)

    assert cache.read_text() == "a file where the folder would be"


def test_a_source_that_cannot_be_read_and_a_damaged_stamp_do_no_harm(tmp_path: Path) -> None:
    (tmp_path / "gone.py").mkdir()  # as a dangling link: there, and nothing to read
    cache = tmp_path / "cache"
    cache.mkdir()
    (cache / "kernels.sha256").write_bytes(b"\xff\xfe")
    forget_older(cache, tmp_path)
    (tmp_path / "gone.py").rmdir()

    forget_older(cache, tmp_path)

    assert len((cache / "kernels.sha256").read_bytes()) == 64


@pytest.mark.skipif(not COMPILED, reason="nothing is compiled")
def test_what_runs_is_stamped_where_numba_keeps_it() -> None:
    folder = Path(compiled.random.stats.cache_path)  # type: ignore[attr-defined]

    assert len((folder / "kernels.sha256").read_bytes()) == 64
