"""The plate of a file, whether it was captured or drawn."""

from pathlib import Path

from nesting.drawing.findings import Finding
from nesting.drawing.plate import read_plate
from nesting.errors import DrawingError, InputError, UnitsUnknownError
from nesting.files.plate_file import SUFFIX, read_plate_file
from nesting.plate import Plate
from nesting.units import DrawnUnit


def plate_from(path: Path, units: DrawnUnit | None = None) -> tuple[Plate, tuple[Finding, ...]]:
    """Return the plate of a plate file or a drawing, and what was found in the drawing.

    `units` is for a drawing that does not say its unit.  Raise `InputError` where there is no file or it cannot be
    used, `DrawingError` also for findings that are errors: what could not be read may be a hole.
    """
    if not path.is_file():
        raise InputError(f"{path}: no such file; check the name and the folder")
    if path.suffix.lower() == SUFFIX:
        return read_plate_file(path).to_lay_out, ()
    try:
        plate, findings = read_plate(path)
    except UnitsUnknownError:
        if units is None:
            raise
        plate, findings = read_plate(path, units=units)
    errors = [f.message for f in findings if f.severity == "error"]
    if errors:
        raise DrawingError(f"{path.name}: {errors[0]}")
    return plate, findings
