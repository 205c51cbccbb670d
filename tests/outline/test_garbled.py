"""Readings with slips, strange characters and lost lines are read or refused in words, never with a traceback."""

import random
from collections.abc import Callable

import pytest

from nesting.errors import NestingError
from nesting.outline.corners import from_corners
from nesting.outline.offsets import from_offsets
from nesting.outline.pasted import Pasted
from nesting.outline.readouts import from_readouts
from nesting.outline.tapes import from_tapes
from nesting.outline.walk import from_walk

TEXTS: dict[str, tuple[str, Callable[..., object]]] = {
    "corners": (
        "name,x,y\nA,0,0\n1000,0\n1000,500,arc\n900,600,0.3\n0,500\nhole\n100,100\n200,100\n150 1/2,200\n"
        "hole circle\n300,300\n350,300\n320,340\nkeep-out rust\n500,100\n600,100\n600,200",
        from_corners,
    ),
    "offsets": ("0, R 200\n1000, R 250\n1000, L 300\n0, 300\nB, 4, 5 L", from_offsets),
    "readouts": (
        "G21 G90\nX0 Y0\nX1000 Y0\nX1000 Y500 arc\n900, 600\n0; 500\nX0.1 Y0\nhole circle\n100 100\n120 100\n110 120\n"
        "edge\n1,1\n2,2",
        from_readouts,
    ),
    "walk": ("1200, L 90\nBC, 800, 90-00-10\n1200, R -90\n800, 90", from_walk),
    "tapes": (
        "A,B,1200\nB,C,800\nC,D,1200\nD,A,800\nA,C,1442.2\nB,D,1442.5,2\ndents none\nbase P Q\nC D left of A B\n"
        "A,P,3\nclockwise\norder A B C D",
        from_tapes,
    ),
}
BITS = [
    "", "0", "-", "1e9", "nan", "inf", "'", '"', ",", ";", "\t", " ", "arc", "hole", "edge", "A", "Z9", "1/0", "1/2",
    "999999999999", "0,0", "\n", "°", "½", "−", "circle,1,1,1", "X", "Y", "G2", "clamp", "dents A", "é", ".",
]  # fmt: skip


@pytest.mark.parametrize("way", TEXTS)
def test_garbled_readings_are_read_or_refused(way: str):
    text, take = TEXTS[way]
    rng = random.Random(way)
    outcomes = {"read": 0, "refused": 0}
    for _ in range(300):
        try:
            take(Pasted(name="garbled", text=_garbled(text, rng)))
        except NestingError as error:
            assert str(error).startswith(("garbled", "'", "lengths"))
            outcomes["refused"] += 1
        else:
            outcomes["read"] += 1
    assert min(outcomes.values()) > 0


def _garbled(text: str, rng: random.Random) -> str:
    lines = text.split("\n")
    if rng.random() < 0.5:
        rng.shuffle(lines)
    if rng.random() < 0.5:
        lines = lines[: rng.randint(1, len(lines))]
    found = "\n".join(lines)
    for _ in range(rng.randint(0, 4)):
        at = rng.randrange(len(found) + 1)
        found = found[:at] + rng.choice(BITS) + found[at + rng.choice([0, 0, 1, 3]) :]
    return found
