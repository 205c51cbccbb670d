"""A result folder appears whole, replaces only its own kind, and survives being cut off at any moment."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from nesting.errors import CannotWriteError, InputError
from nesting.files.release import FILES, recover, refuse_taken, release

KILLED_AT_STEP = """
import os, signal, sys
from pathlib import Path
from nesting.files.release import release

step, staged, target = int(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3])
done = 0

def counted(call):
    def wrapper(*args, **kwargs):
        global done
        if done == step:
            os.kill(os.getpid(), signal.SIGKILL)
        done += 1
        return call(*args, **kwargs)
    return wrapper

for name in ("rename", "replace", "unlink", "rmdir"):
    setattr(os, name, counted(getattr(os, name)))
release(staged, target)
print(done)
"""


def filled(folder: Path, text: str) -> Path:
    folder.mkdir()
    for name in FILES:
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def texts(folder: Path) -> set[str]:
    assert sorted(p.name for p in folder.iterdir()) == sorted(FILES)
    return {p.read_text(encoding="utf-8") for p in folder.iterdir()}


def test_a_new_folder_takes_the_place_of_the_old_one_whole(tmp_path: Path):
    target = filled(tmp_path / "out", "old")
    release(filled(tmp_path / ".staged", "new"), target)
    assert texts(target) == {"new"}
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_first_folder_needs_no_old_one(tmp_path: Path):
    release(filled(tmp_path / ".staged", "new"), tmp_path / "out")
    assert texts(tmp_path / "out") == {"new"}


def test_a_failing_rename_puts_the_old_folder_back(tmp_path: Path):
    target = filled(tmp_path / "out", "old")
    with pytest.raises(FileNotFoundError):
        release(tmp_path / "never staged", target)
    assert texts(target) == {"old"}


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGKILL")
@pytest.mark.parametrize("step", range(5 + len(FILES)))
def test_kill_at_any_moment_leaves_old_or_new_whole(tmp_path: Path, step: int):
    target, staged = filled(tmp_path / "out", "old"), filled(tmp_path / ".staged", "new")
    command = [sys.executable, "-c", KILLED_AT_STEP, str(step), str(staged), str(target)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode in (0, -signal.SIGKILL), done.stderr
    note = recover(target)
    assert texts(target) == ({"old"} if step < 2 else {"new"})
    assert bool(note) == (1 <= step < 3 + len(FILES)), "two renames, every file, the folder itself"
    assert not (tmp_path / ".out.before").exists()
    assert recover(target) == ""


def test_recovery_says_what_it_did(tmp_path: Path):
    filled(tmp_path / ".out.before", "old")
    assert "the former one is put back" in recover(tmp_path / "out")
    filled(tmp_path / ".out.before", "older")
    assert "the former is cleared" in recover(tmp_path / "out")
    assert texts(tmp_path / "out") == {"old"}


def test_a_taken_folder_is_replaced_only_on_request(tmp_path: Path):
    target = filled(tmp_path / "out", "old")
    with pytest.raises(InputError, match="exists already; use --force"):
        refuse_taken(target, force=False)
    refuse_taken(target, force=True)
    (tmp_path / "empty").mkdir()
    refuse_taken(tmp_path / "empty", force=False)


def test_a_folder_with_other_files_is_never_taken_away(tmp_path: Path):
    target = filled(tmp_path / "out", "old")
    (target / "holiday.jpg").write_text("mine")
    with pytest.raises(InputError, match=r"holds files that no run wrote \(holiday\.jpg\)"):
        refuse_taken(target, force=True)
    with pytest.raises(InputError, match="is a file, not a folder"):
        refuse_taken(target / "holiday.jpg", force=True)


def test_the_folder_one_stands_in_is_never_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match="you stand in this folder"):
        refuse_taken(tmp_path, force=True)


def test_a_folder_that_cannot_be_made_is_told_before_the_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(CannotWriteError, match="is a file, not a folder"):
        refuse_taken(tmp_path / "file" / "out", force=False)
    monkeypatch.setattr("os.access", lambda *_args: False)  # root may write everywhere
    with pytest.raises(CannotWriteError, match="no right to write in"):
        refuse_taken(tmp_path / "out", force=False)


def test_the_top_of_a_disk_is_never_a_result_folder(tmp_path: Path):
    top = Path(tmp_path.anchor)
    assert recover(top) == ""
    with pytest.raises(InputError, match="is the top of a disk, which no run replaces"):
        refuse_taken(top, force=True)
