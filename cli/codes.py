"""Exit codes of every command; `oddplate --help` lists them."""

from typing import Final

DONE: Final = 0
COULD_NOT: Final = 1
BAD_INPUT: Final = 2
LEFT_OVER: Final = 3
CHECK_FAILED: Final = 4
INTERRUPTED: Final = 130
