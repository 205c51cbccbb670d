"""Compiled code is kept for the sources it was made from, and for no others."""

from pathlib import Path

from nesting.search.kernels.compiled import forget_older


def test_compiled_code_is_forgotten_when_any_source_changes(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("one")
    (tmp_path / "b.py").write_text("two")
    cache = tmp_path / "__pycache__"
    cache.mkdir()

    def compiled() -> list[str]:
        return sorted(p.name for p in cache.iterdir() if p.suffix in (".nbi", ".nbc", ".pyc"))

    def compile_all() -> None:
        for name in ("a.f-1.py311.nbi", "a.f-1.py311.1.nbc", "a.cpython-311.pyc"):
            (cache / name).write_bytes(b"x")

    compile_all()
    forget_older(tmp_path)  # nobody knows what these were made from
    assert compiled() == ["a.cpython-311.pyc"]

    compile_all()
    forget_older(tmp_path)
    assert len(compiled()) == 3

    (tmp_path / "b.py").write_text("too")
    forget_older(tmp_path)
    assert compiled() == ["a.cpython-311.pyc"]


def test_a_folder_that_cannot_be_written_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("one")
    (tmp_path / "__pycache__").write_text("a file where the folder would be")

    forget_older(tmp_path)

    assert (tmp_path / "__pycache__").is_file()
