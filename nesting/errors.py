"""Everything that can go wrong for a reason a user can mend.

A message says where, what was found, what was expected and what to do.  Bugs stay built-in exceptions and are
not caught; drawing faults that do not stop the work are data (`nesting.drawing.findings`), not exceptions.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any


class NestingError(Exception):
    """Base of all errors that a user can act on."""


class InputError(NestingError):
    """A file, option or value given by the user cannot be used as it stands."""


class CannotWriteError(NestingError):
    """A file or folder cannot be written where it should go."""


class DrawingError(InputError):
    """A drawing cannot be read, or what it holds cannot be cut."""


class UnitsUnknownError(DrawingError):
    """A drawing does not say its unit and nobody has said it for it.

    `sizes` maps each likely unit to the drawing's (width, height) in mm if read so; `hint` says what else
    proposes one.  `curves` is what was read, in units of the file, for a picture.
    """

    def __init__(self, message: str, *, path: Path, sizes: Mapping[Any, tuple[float, float]], hint: str = "") -> None:
        super().__init__(message)
        self.path = path
        self.sizes = dict(sizes)
        self.hint = hint
        self.curves: tuple[Any, ...] = ()


class JobError(InputError):
    """A job or shop file, or the options in its place, are wrong; lists every fault found, not just the first."""


class InfeasibleError(NestingError):
    """What is asked for cannot be done on this plate, whatever the search does."""


class CheckFailed(NestingError):  # noqa: N818 - the name says what happened, as in design vocabulary
    """A layout or written drawing breaks a clearance; nothing was released."""


class BalanceError(NestingError):
    """The areas of a layout do not add up to its plate: parts overlap or leave it."""


class RackError(NestingError):
    """A rack cannot be opened, or a piece is not in a state for what is asked; nothing was changed."""
