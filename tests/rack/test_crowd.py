"""Several programs at one rack at once, and programs that are killed."""

import os
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import sqlalchemy as sa
from racks import accounts, new_piece

from nesting.errors import RackError
from nesting.rack.store import Rack, open_rack

CROWD = Path(__file__).parents[1] / "rack_crowd.py"


def program(how: str, where: str, name: str) -> "subprocess.Popen[str]":
    environment = {**os.environ, "PYTHONPATH": str(CROWD.parent)}
    return subprocess.Popen(
        [sys.executable, str(CROWD), how, where, name],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment,
    )  # fmt: skip


def heard(one: "subprocess.Popen[str]", line: str) -> None:
    assert one.stdout is not None and one.stderr is not None
    assert one.stdout.readline().strip() == line, one.stderr.read()


def whole(rack: Rack) -> None:
    if rack.database.is_sqlite:
        with rack.database.reading() as connection:
            assert connection.execute(sa.text("PRAGMA integrity_check")).scalar_one() == "ok"
            assert connection.execute(sa.text("PRAGMA foreign_key_check")).all() == []
    accounts(rack)


def test_each_piece_is_given_once_to_many_at_once(rack: Rack, where: str):
    ids = {p.id for p in rack.add([new_piece()] * 15, who="me")}
    crowd = [program("take", where, f"job {n}") for n in range(3)]
    taken = []
    for one in crowd:
        out, err = one.communicate(timeout=120)
        assert one.returncode == 0, err
        taken.append(out.split())
    assert sorted(id for some in taken for id in some) == sorted(ids)
    for n, some in enumerate(taken):
        assert all(rack.piece(id).set_aside_for == f"job {n}" for id in some)
    whole(rack)


def test_a_program_killed_halfway_leaves_nothing_half(rack: Rack, where: str):
    """The history of a killed cut is not there either, and others go on at once."""
    before = rack.add([new_piece()], who="me")
    one = program("halfway", where, "Ann")
    heard(one, "halfway")
    one.kill()
    one.communicate(timeout=30)
    assert rack.pieces() == before and len(rack.history()) == 1
    assert rack.add([new_piece()], who="me")[0].id == "A23N"
    whole(rack)


def test_programs_killed_at_work_leave_a_whole_rack(where: str):
    with open_rack(where, create=True) as rack:
        crowd = [program("work", where, name) for name in ("Ann", "Bob")]
        for one in crowd:
            heard(one, "at work")
        time.sleep(0.5)
        for one in crowd:
            one.kill()
        for one in crowd:
            assert "Error" not in one.communicate(timeout=30)[1]
        whole(rack)
        assert len(rack.history()) > 10


def test_several_make_one_rack_at_the_same_moment(where: str):
    start = threading.Barrier(4)

    def make(number: int) -> str:
        start.wait()
        with open_rack(where, create=True) as rack:
            return rack.add([new_piece()], who=str(number))[0].id

    with ThreadPoolExecutor(4) as pool:
        ids = list(pool.map(make, range(4)))
    with open_rack(where) as rack:
        assert sorted(p.id for p in rack.listed()) == sorted(ids) == ["A22R", "A23N", "A24K", "A26H"]


@pytest.mark.parametrize("writes", [True, False])
def test_who_waits_too_long_is_told(rack: Rack, where: str, writes: bool):
    with open_rack(where, busy_s=0.2) as other, rack.database.writing():
        if not writes:
            assert other.listed() == []  # readers never wait
            return
        with pytest.raises(RackError, match=r"another program has been writing to it for more than 0\.2 s; wait until"):
            other.add([new_piece()], who="Bob")
