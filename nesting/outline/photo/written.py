"""Files that appear whole or not at all."""

from pathlib import Path

from nesting.errors import CannotWriteError, InputError


def refuse_taken(path: Path, *, force: bool) -> None:
    """Raise `InputError` if a file is there and may not be replaced."""
    if path.exists() and not force:
        raise InputError(f"{path}: exists already; use --force to replace it, or give another name")


def write_whole(path: Path, data: bytes, *, force: bool) -> None:
    """Write a file beside its place, then rename it; raise `InputError` where one is and `force` is not said."""
    refuse_taken(path, force=force)
    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_bytes(data)
        beside.replace(path)
    except OSError as error:
        raise CannotWriteError(f"{path}: cannot be written: {error.strerror or error}") from None
    finally:
        beside.unlink(missing_ok=True)
