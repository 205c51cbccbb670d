"""How long a large rack takes to list, to filter and to be held against a job; and whether a busy one stays whole.

    python tests/bench/rack.py size 50000
    python tests/bench/rack.py soak --rounds 20 --seconds 60 [--url postgresql://...]

`size` fills a rack with random pieces in a temporary folder, and prints the best of three times for each question.
`soak` lets two programs add, take, cut, give back, scrap and undo, kills them with SIGKILL at a random moment within
the time given, and looks whether every piece is accounted for; see `accounts`.
"""

import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1])]

import numpy as np  # noqa: E402
from racks import accounts, own_schema  # noqa: E402
from shapes import plate, polygon_part, rectangle, star  # noqa: E402

from nesting.clearances import Clearances  # noqa: E402
from nesting.demand import Demand  # noqa: E402
from nesting.files.job import make_job  # noqa: E402
from nesting.rack.chalk import chalk_id  # noqa: E402
from nesting.rack.look import Filter  # noqa: E402
from nesting.rack.piece import Facts, NewPiece  # noqa: E402
from nesting.rack.rows import new_row  # noqa: E402
from nesting.rack.store import Rack, open_rack  # noqa: E402
from nesting.rack.tables import ACTS, CHANGES, PIECES, VERSIONS  # noqa: E402
from nesting.shop import Shop  # noqa: E402
from nesting.steps.rack_fit import Asked, on_the_rack  # noqa: E402
from nesting.steps.rack_holds import holding_rectangle  # noqa: E402

SHAPES, ADDED = 60, 500


def size(count: int, url: str | None) -> None:
    """Fill a rack and time what is asked of it."""
    with tempfile.TemporaryDirectory() as folder, open_rack(url or f"{folder}/rack.db", create=True) as rack:
        begun = time.perf_counter()
        shapes = [_shape(np.random.default_rng(k)) for k in range(SHAPES)]
        print(f"measure a shape: {(time.perf_counter() - begun) / SHAPES:.3f} s")
        begun = time.perf_counter()
        rack.add([_piece(random.Random(k), shapes) for k in range(ADDED)], who="bench")
        print(f"add {ADDED} pieces in one go: {time.perf_counter() - begun:.1f} s")
        _fill(rack, [_piece(random.Random(k), shapes) for k in range(ADDED, count)])
        _timed("list all", lambda: rack.listed())
        _timed("list 6 mm S235JR", lambda: rack.listed(Filter(thickness_mm=6.0, grade="S235JR")))
        _timed("list all with outlines", lambda: rack.pieces())
        few = rack.listed(Filter(thickness_mm=6.0, grade="S235JR"))
        _timed(f"hold 400 x 300? of those {len(few)}", lambda: holding_rectangle(rack, few, 400.0, 300.0))
        asked = _job()
        _timed("will it fit? 22 parts of 7 kinds", lambda: on_the_rack(asked(), rack, everything=False))
        _timed("will it fit, and why do all others not?", lambda: on_the_rack(asked(), rack))
        _timed("one piece and its history", lambda: (rack.piece("A22R"), rack.history("A22R")))


def _fill(rack: Rack, pieces: list[NewPiece]) -> None:
    """Put many pieces there by their rows, as an import does, with the history of each."""
    rows, acts, changes = [], [], []
    for number, piece in enumerate(pieces, start=ADDED):
        row = new_row(piece, id=chalk_id(number), number=number, added=date(2020, 1, 1))
        rows.append(row)
        acts.append(
            {"number": number + 1, "at": "2020-01-01", "who": "bench", "kind": "add", "note": "", "undoes": None}
        )
        changes.append({"act": number + 1, "piece": row["id"], "before": None, "after": '{"state": "on the rack"}'})
    with rack.database.writing() as connection:
        for table, found in ((PIECES, rows), (ACTS, acts), (CHANGES, changes)):
            if found:
                connection.execute(table.insert(), found)
        connection.execute(VERSIONS.update().values(next_number=len(pieces) + ADDED))


def _shape(rng: np.random.Generator) -> NewPiece:
    scale = rng.uniform(3, 12)
    body = polygon_part("p", type(s := star(rng))([(x * scale, y * scale) for x, y in s.exterior.coords[:-1]]))
    return NewPiece.of(plate(body.outer))


def _piece(rng: random.Random, shapes: list[NewPiece]) -> NewPiece:
    facts = Facts(
        name="offcut",
        thickness_mm=rng.choice([3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, None]),
        grade=rng.choice(["S235JR", "S355J2", "1.4301", None]),
        place=f"B{rng.randrange(40)}",
    )
    return replace(rng.choice(shapes), facts=facts, added=date(2020, 1, 1) + timedelta(days=rng.randrange(2000)))


def _job() -> Callable[[], Asked]:
    sides = [(330, 330, 2), (220, 160, 2), (180, 140, 4), (130, 130, 2), (150, 150, 4), (249, 74, 3), (127, 51, 5)]
    parts = [replace(rectangle(f"p{w}", w, h), thickness_mm=6.0, grade="S235JR") for w, h, _ in sides]
    demands = tuple(Demand(part=p, quantity=n) for p, (_, _, n) in zip(parts, sides, strict=True))
    entry: dict[str, Any] = {"kerf": 1.6, "gap": 6.0, "margin": 9.0}
    job = make_job({"units": "mm", "plate": {"rack": "choose"}, "clearances": entry, "part": [{"drawing": "x.dxf"}]})
    assert Clearances(kerf_mm=1.6, gap_mm=6.0, margin_mm=9.0)
    return lambda: Asked(job, Shop(), demands)


def _timed(what: str, do: Callable[[], Any]) -> None:
    times, found = [], None
    for _ in range(3):
        begun = time.perf_counter()
        found = do()
        times.append(time.perf_counter() - begun)
    many = f", {len(found)} found" if isinstance(found, list) else ""
    print(f"{what}: {min(times):.3f} s{many}", flush=True)


def soak(rounds: int, seconds: float, url: str | None) -> None:
    """Kill programs at work again and again, and look after each round."""
    if url is not None:
        with own_schema(url) as where:
            _rounds(rounds, seconds, where)
        return
    with tempfile.TemporaryDirectory() as folder:
        _rounds(rounds, seconds, f"{folder}/rack.db")


def _rounds(rounds: int, seconds: float, where: str) -> None:
    environment = {**os.environ, "PYTHONPATH": f"{HERE.parent}:{HERE.parents[1]}"}
    for number in range(1, rounds + 1):
        end = time.monotonic() + seconds
        kills = 0
        while time.monotonic() < end:
            crowd = [
                subprocess.Popen([sys.executable, str(HERE.parent / "rack_crowd.py"), "work", where, name],
                                 env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
                for name in ("Ann", "Bob")
            ]  # fmt: skip
            time.sleep(min(random.uniform(3.0, 12.0), max(0.0, end - time.monotonic())))
            for one in crowd:
                one.kill()
                kills += 1
            for one in crowd:
                told = one.communicate()[1]
                assert not told, told
        with open_rack(where) as rack:
            print(f"round {number}: {kills} kills, {_look(rack)}", flush=True)


def _look(rack: Rack) -> str:
    accounts(rack)
    if rack.database.is_sqlite:
        with rack.database.reading() as connection:
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar_one() == "ok"
    return f"whole: {len(rack.history())} acts, {len(rack.cuts())} cuts, {len(rack.listed())} pieces there"


def main() -> None:
    """Run what the command line says."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["size", "soak"])
    parser.add_argument("count", type=int, nargs="?", default=2000)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--url", help="an empty PostgreSQL database; default SQLite in a temporary folder")
    given = parser.parse_args()
    if given.what == "size":
        size(given.count, given.url)
    else:
        soak(given.rounds, given.seconds, given.url)


if __name__ == "__main__":
    main()
