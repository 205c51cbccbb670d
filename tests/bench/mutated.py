"""Drawings made wrong in every way that transfer, hand and bad programs make them wrong; each from its own seed."""

import io
import math
import random
from collections.abc import Callable
from functools import cache
from typing import Any

import ezdxf

Pair = tuple[str, str]

NASTY = (
    *("nan", "inf", "-inf", "1e308", "-1e300", "1e-320", "", " ", "0", "-1", "1.0E 20", "1,5", "99999999999999999999"),
    *("\x00", "ÿþ", "*", "BYBLOCK", "AC1009", "AC1032", "ENDSEC", "EOF", "LINE", "ENDBLK", "1e17", "360", "-0.0"),
)


def sound_text(version: str) -> str:
    """A text drawing with every entity that is read, blocks in blocks, an array, texts and things never cut."""
    document = ezdxf.new(version)
    if version != "R12":
        document.header["$INSUNITS"] = 4
    space: Any = document.modelspace()
    block = document.blocks.new("SLOT", base_point=(10, 0))
    block.add_circle((35, 25), 5)
    block.add_line((0, 0), (5, 5), dxfattribs={"layer": "BEND"})
    pair = document.blocks.new("PAIR")
    pair.add_blockref("SLOT", (0, 0), dxfattribs={"yscale": -1, "xscale": 2})
    pair.add_blockref("SLOT", (0, 100), dxfattribs={"rotation": 30})
    corners = [(-50, -150), (400, -150), (400, 250), (-50, 250)]
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        space.add_line(a, b)
    space.add_arc((300, 0), 20, 0, 180)
    space.add_line((280, 0), (320, 0))
    space.add_polyline2d([(0, 0, 0), (50, 0, 1), (50, 50, 0), (0, 50, 1)], format="xyb", close=True)
    space.add_blockref("PAIR", (100, 0), dxfattribs={"column_count": 2, "column_spacing": 90})
    space.add_text("A7", dxfattribs={"insert": (30, 130), "height": 5})
    space.add_point((1, 1))
    if version != "R12":
        space.add_lwpolyline([(200, 150, 0.4), (250, 150, 0), (250, 200, -1)], format="xyb", close=True)
        space.add_ellipse((330, 150), (30, 10), 0.5)
        spline = space.add_spline(degree=3, dxfattribs={"flags": 1})
        spline.control_points = [(0, 150), (50, 150), (50, 200), (0, 200), (0, 150)]
        spline.knots = [0, 0, 0, 0, 1, 2, 2, 2, 2]
        space.add_spline([(100, 200), (150, 230), (180, 200)])
        space.add_mtext("two\\Plines", dxfattribs={"insert": (50, 130), "char_height": 4})
        space.add_hatch().paths.add_polyline_path([(0, 0), (1, 0), (1, 1)])
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


SOUND_SVG = """<?xml version="1.0"?>
<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="100mm" viewBox="0 0 420 200">
<style>.fold{stroke:blue} .no{display:none}</style>
<defs><circle id="h" r="5"/><g id="pair"><use href="#h" x="-20"/><use href="#h" x="20"/></g></defs>
<g id="cut" fill="none" stroke="red" transform="rotate(3) scale(1.1 .9)">
<rect x="10" y="10" width="200" height="100" rx="8"/>
<use href="#pair" transform="translate(60,60) rotate(30)"/>
<path d="M100 40a20 10 30 1 0 .1 0z M30 30 q 5 5 9 0 t 3 3 c 1 2 3 4 5 6 s 2 2 -9 9z" stroke-width="0.2"/>
<polygon points="150,30 160,30 155,40"/><ellipse cx="180" cy="60" rx="9" ry="4"/></g>
<path d="M250 20C300 0 350 0 400 20V100H250"/><text x="20" y="20">Hi</text>
</svg>
"""


CODES = (0, 1, 2, 5, 8, 10, 20, 30, 40, 41, 42, 50, 62, 66, 67, 70, 71, 72, 73, 100, 210, 230)


@cache
def sound() -> tuple[str, ...]:
    """Drawings with nothing wrong: DXF of four versions."""
    return tuple(sound_text(version) for version in ("R12", "R2000", "R2007", "R2018"))


def mutated(seed: int, drawings: tuple[bytes, ...] = ()) -> tuple[str, bytes]:
    """Return the ending and content of one wrong drawing; `drawings` are real ones to start from besides our own."""
    chance = random.Random(seed)
    kind = chance.random()
    if kind < 0.12:
        return ".svg", _svg(chance).encode("utf-8", "replace")
    if kind < 0.18:
        return ".dxf", _nested_blocks(chance).encode("utf-8")
    if kind < 0.22:
        return ".dxf", _flipped_bytes(_binary(chance), chance)
    if drawings and kind < 0.6:
        data = chance.choice(drawings)
        if chance.random() < 0.15:
            return ".dxf", _flipped_bytes(data, chance)
        text = data.decode("cp1252", "replace")
    else:
        text = chance.choice(sound())
    pairs = _pairs(text)
    for _ in range(chance.choice((1, 1, 2, 3, 8, 30))):
        pairs = chance.choice(_MUTATIONS)(pairs, chance)
    text = "\n".join(line for pair in pairs for line in pair) + "\n"
    if chance.random() < 0.05:
        text = text[: chance.randrange(len(text) + 1)]
    return ".dxf", text.encode(chance.choice(("utf-8", "cp1252", "utf-8")), "replace")


def _pairs(text: str) -> list[Pair]:
    lines = text.split("\n")
    return list(zip(lines[0::2], lines[1::2], strict=False))


def _place(pairs: list[Pair], chance: random.Random) -> int:
    """A place in the drawing; mostly among the entities and blocks, which are at its end."""
    low = 0 if chance.random() < 0.2 else len(pairs) // 2
    return chance.randrange(low, max(len(pairs), low + 1))


def _dropped(pairs: list[Pair], chance: random.Random) -> list[Pair]:
    i = _place(pairs, chance)
    return pairs[:i] + pairs[i + chance.choice((1, 1, 2, 9)) :]


def _doubled(pairs: list[Pair], chance: random.Random) -> list[Pair]:
    i = _place(pairs, chance)
    run = pairs[i : i + chance.choice((1, 2, 12, 60))]
    return pairs[:i] + run * chance.choice((2, 2, 3)) + pairs[i + len(run) :]


def _garbled(pairs: list[Pair], chance: random.Random) -> list[Pair]:
    i = _place(pairs, chance)
    if i >= len(pairs):
        return pairs
    code, value = pairs[i]
    what = chance.random()
    if what < 0.6:
        value = chance.choice(NASTY)
    elif what < 0.75:
        value = "".join(chance.sample(value, len(value)))
    elif what < 0.9:
        code = str(chance.choice(CODES))
    else:
        code = chance.choice(("", "x", "-5", "10.5"))
    return [*pairs[:i], (code, value), *pairs[i + 1 :]]


def _numbers(pairs: list[Pair], chance: random.Random) -> list[Pair]:
    """One number garbled wherever a coordinate or size stands."""
    places = [i for i, (code, _) in enumerate(pairs) if code.strip().isdigit() and 10 <= int(code) <= 59]
    if not places:
        return pairs
    i = chance.choice(places)
    return [*pairs[:i], (pairs[i][0], chance.choice(NASTY[:9])), *pairs[i + 1 :]]


def _swapped(pairs: list[Pair], chance: random.Random) -> list[Pair]:
    i, j = _place(pairs, chance), _place(pairs, chance)
    if max(i, j) >= len(pairs):
        return pairs
    found = list(pairs)
    found[i], found[j] = found[j], found[i]
    return found


def _blank(pairs: list[Pair], chance: random.Random) -> list[Pair]:
    """An empty line: from there on codes and values change places."""
    i = _place(pairs, chance)
    lines = [line for pair in pairs for line in pair]
    lines.insert(2 * i, "")
    return list(zip(lines[0::2], lines[1::2], strict=False))


_MUTATIONS: tuple[Callable[[list[Pair], random.Random], list[Pair]], ...] = (
    *(_dropped, _doubled, _garbled, _garbled, _numbers, _numbers, _numbers, _swapped, _blank),
)


def _nested_blocks(chance: random.Random) -> str:
    """Blocks in blocks: deep, in a ring, or doubled at every depth, with odd scales and huge arrays."""
    depth = chance.choice((1, 3, 33, 60, 400))
    ring = chance.random() < 0.4
    lines: list[str] = ["0", "SECTION", "2", "BLOCKS"]
    for k in range(depth):
        lines += ["0", "BLOCK", "8", "0", "2", f"B{k}", "70", "0", "10", "0", "20", "0", "30", "0", "3", f"B{k}"]
        lines += ["0", "CIRCLE", "8", "0", "10", str(3 * k), "20", "0", "40", "1"]
        for _ in range(chance.choice((1, 2))):
            lines += _insert(chance, f"B{(k + 1) % depth}" if ring else f"B{k + 1}")
        lines += ["0", "ENDBLK"]
    lines += ["0", "ENDSEC", "0", "SECTION", "2", "ENTITIES", *_insert(chance, "B0"), "0", "ENDSEC", "0", "EOF", ""]
    return "\n".join(lines)


def _insert(chance: random.Random, name: str) -> list[str]:
    lines = ["0", "INSERT", "8", "0", "2", name, "10", "1", "20", "2"]
    if chance.random() < 0.3:
        lines += ["41", chance.choice(("0", "-1", "nan", "1e9", "0.5")), "42", chance.choice(("1", "0", "-2"))]
    if chance.random() < 0.2:
        lines += ["70", chance.choice(("3", "0", "-4", "30000")), "71", chance.choice(("2", "30000")), "44", "5"]
    if chance.random() < 0.2:
        lines += ["210", chance.choice(("0", "1")), "220", "0", "230", chance.choice(("-1", "0", "nan"))]
    return lines


def _binary(chance: random.Random) -> bytes:
    document = ezdxf.new(chance.choice(("R12", "R2000", "R2018")))
    space = document.modelspace()
    space.add_circle((0, 0), 50)
    space.add_line((-5, 0), (5, 0))
    space.add_text("A", dxfattribs={"height": 3})
    stream = io.BytesIO()
    document.write(stream, fmt="bin")
    return stream.getvalue()


def _flipped_bytes(data: bytes, chance: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(chance.choice((1, 3, 20, 200))):
        changed[chance.randrange(len(changed))] = chance.randrange(256)
    return bytes(changed[: chance.randrange(len(changed))] if chance.random() < 0.1 else changed)


def _svg(chance: random.Random) -> str:
    text = SOUND_SVG
    for _ in range(chance.choice((1, 2, 4, 12))):
        i = chance.randrange(len(text))
        what = chance.random()
        if what < 0.35:
            text = text[:i] + chance.choice((*NASTY[:13], "<g>", "</g>", '"', "e", "z", "-", "#pair")) + text[i + 1 :]
        elif what < 0.6:
            text = _with_other_number(text, chance)
        elif what < 0.8:
            text = text[:i] + text[i + chance.choice((1, 2, 20)) :]
        elif what < 0.9:
            text = text.replace('href="#h"', chance.choice(('href="#pair"', 'href="#cut"', 'href="#"', 'href="x"')))
        else:
            depth = chance.choice((3, 70, 2000))
            text = text.replace("<ellipse", "<g>" * depth + "<ellipse").replace("</svg>", "</g>" * depth + "</svg>")
    return text


def _with_other_number(text: str, chance: random.Random) -> str:
    words = text.split(" ")
    i = chance.randrange(len(words))
    words[i] = chance.choice((*NASTY[:9], f"{math.exp(chance.uniform(-30, 30)):g}"))
    return " ".join(words)
