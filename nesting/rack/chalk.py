"""Ids to chalk on a piece: short, of letters and figures that no hand confuses, the last one a check on the others."""

import re
from typing import Final

from nesting.errors import InputError

ALPHABET: Final = "2346789ACDEFHJKMNPRTWXY"
"""23 signs, a prime, so that the check finds every one sign misread and every two neighbours swapped.  Of signs
that are easily taken for one another one stays at most: there is no 0 O Q, no 1 I L, no 5 S, no B, G, U, V or Z."""

_LETTERS: Final = "ACDEFHJKMNPRTWXY"
_FIGURES: Final = "2346789"
_OWN: Final = re.compile(r"[A-Z0-9][A-Z0-9./_-]{0,15}")


def chalk_id(number: int) -> str:
    """Return the id with a running number, from 0: a letter, a figure, then any signs, then the check.

    The figure keeps ids from spelling words, the letter keeps spreadsheets from taking them for numbers.
    """
    if number < 0:
        raise ValueError(f"ids are numbered from 0, got {number}")
    base = len(ALPHABET)
    head = len(_LETTERS) * len(_FIGURES)
    tail = 1
    while number >= head * base**tail:
        number -= head * base**tail
        tail += 1
    signs = []
    for _ in range(tail):
        number, rest = divmod(number, base)
        signs.append(ALPHABET[rest])
    number, rest = divmod(number, len(_FIGURES))
    signs += [_FIGURES[rest], _LETTERS[number]]
    text = "".join(reversed(signs))
    return text + _check(text)


def has_check(text: str) -> bool:
    """True if the last sign of an id is the check on the others."""
    return len(text) > 1 and set(text) <= set(ALPHABET) and _check(text[:-1]) == text[-1]


def written_id(text: str) -> str:
    """Return an id as it is kept, whatever the case it was typed in; raise `InputError` for what is none."""
    found = text.strip().upper()
    if not _OWN.fullmatch(found):
        raise InputError(
            f"{text!r} is no id of a piece; expected up to 16 letters, figures, dots, dashes or strokes, such as A24K"
        )
    return found


def _check(text: str) -> str:
    """Weights 2, 3, 4 and so on from the right, the sum made a multiple of a prime: as in ISBN-10 (ISO 2108:1992)."""
    total = sum((i + 2) * ALPHABET.index(sign) for i, sign in enumerate(reversed(text)))
    return ALPHABET[-total % len(ALPHABET)]
