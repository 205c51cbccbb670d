"""Everything that can go wrong for a reason a user can mend.

A message says where, what was found, what was expected and what to do.  Bugs stay built-in exceptions and are
not caught; drawing faults that do not stop the work are data (`nesting.drawing.findings`), not exceptions.
"""


class NestingError(Exception):
    """Base of all errors that a user can act on."""


class InputError(NestingError):
    """A file, option or value given by the user cannot be used as it stands."""


class DrawingError(InputError):
    """A drawing cannot be read, or what it holds cannot be cut."""


class UnitsUnknownError(DrawingError):
    """A drawing does not say its unit and nobody has said it for it."""


class JobError(InputError):
    """A job or shop file, or the options in its place, are wrong; lists every fault found, not just the first."""


class InfeasibleError(NestingError):
    """What is asked for cannot be done on this plate, whatever the search does."""


class CheckFailed(NestingError):  # noqa: N818 - the name says what happened, as in design vocabulary
    """A layout or written drawing breaks a clearance; nothing was released."""
