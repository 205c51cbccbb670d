"""One program among several at a rack, run by tests as a process of its own: `python rack_crowd.py HOW WHERE NAME`."""

import itertools
import random
import sys
import time
from dataclasses import replace

from racks import new_piece

from nesting.errors import RackError
from nesting.rack.piece import CutPart, NewPiece
from nesting.rack.store import NewCut, Rack, open_rack


def halves(piece: NewPiece) -> list[NewPiece]:
    """What is left of a rectangle when its left half was cut to parts: the right half, in two."""
    width, height = piece.summary.size_x_mm, piece.summary.size_y_mm
    return [new_piece(width / 2, height / 2)] * 2


def cut_of(piece: NewPiece) -> NewCut:
    """Half of a rectangle cut to parts."""
    part = CutPart(number=1, part_id="half", name="half")
    half = piece.summary.area_mm2 / 2
    return NewCut(layout_id="x", layout_json="{}", made=(part,), areas={"plate_mm2": 2 * half, "parts_mm2": half})


def take_all(rack: Rack, name: str) -> None:
    """Set aside whatever can be had, one at a time, and print each id."""
    while there := [p.id for p in rack.listed() if p.state == "on the rack"]:
        for id in random.sample(there, len(there)):
            try:
                rack.set_aside([id], name, who=name)
            except RackError as error:
                assert "is set aside for" in str(error)
            else:
                print(id, flush=True)


def work(rack: Rack, name: str) -> None:
    """Add, take, cut, give back and undo without end; tell once it is well under way."""
    for turn in itertools.count():
        if turn == 10:
            print("at work", flush=True)
        there = rack.pieces()
        act = random.choice(["add", "take", "give back", "cut", "cut", "undo", "scrap"])
        try:
            if act == "add" or len(there) < 4:
                rack.add([new_piece(1024, 1024)], who=name)
                continue
            piece = random.choice(there)
            if act == "take":
                rack.set_aside([piece.id], name, who=name)
            elif act == "give back":
                rack.give_back([piece.id], who=name)
            elif act == "scrap":
                rack.scrap([piece.id], who=name)
            elif act == "undo":
                rack.undo(piece.id, who=name)
            elif piece.summary.size_x_mm > 32:
                rack.cut(piece.id, cut_of(piece), halves(piece), who=name)  # type: ignore[arg-type]
        except RackError as error:
            assert any(w in str(error) for w in ("nothing was changed", "cannot be undone", "nothing is left"))


def stop_halfway(rack: Rack, name: str) -> None:
    """Write half of a cut and wait to be killed."""
    piece = rack.pieces()[0]
    real = rack._came

    def halfway(*args: object) -> str:
        id = real(*args)  # type: ignore[arg-type]
        print("halfway", flush=True)
        time.sleep(600)
        return id

    rack._came = halfway  # type: ignore[method-assign]
    new = replace(halves(piece)[0])  # type: ignore[arg-type]
    rack.cut(piece.id, cut_of(piece), [new, new], who=name)  # type: ignore[arg-type]


if __name__ == "__main__":
    how, where, who = sys.argv[1:]
    with open_rack(where, create=True) as opened:
        {"take": take_all, "work": work, "halfway": stop_halfway}[how](opened, who)
