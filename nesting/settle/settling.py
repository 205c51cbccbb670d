"""From readouts of a plate's corners to where it lies on the table, what speaks for it, and what to read out next."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from nesting.corner_names import named_corners
from nesting.errors import InputError
from nesting.geometry.pose import Point, Pose
from nesting.plate import Plate
from nesting.settle.allowance import Allowance, distances, pairs
from nesting.settle.reading import Reading, merged
from nesting.settle.rigid import Fit, Floats, Spread, fit, off_line_mm
from nesting.settle.rivals import Rival, Universe, rivals

Verdict = Literal["fits", "distance only", "cannot be told apart", "does not fit"]

_TELLS: Final = 3.0
"""A corner tells readings of the names apart if it lies this many allowances off: least squares shares out misfit."""

_CLEARLY: Final = 15.0
"""From this many allowances on one corner tells as well as another."""

_LEAST_APART: Final = 10.0
"""Corners nearer than this many standard deviations give no turn worth the name."""

_INCH_MM: Final = 25.4


@dataclass(frozen=True, kw_only=True)
class Corner:
    """One point read out: where it lies seen from its fitted place, and how far that is."""

    name: str
    stored: Point
    at: Point
    off: Point
    times: int

    @property
    def residual_mm(self) -> float:
        """Length of the residual."""
        return math.hypot(*self.off)


@dataclass(frozen=True, kw_only=True)
class Distance:
    """The free check: how far two points are apart by the drawing and by the readouts."""

    start: str
    end: str
    stored_mm: float
    measured_mm: float
    allowed_mm: float

    @property
    def off_mm(self) -> float:
        """Measured less stored."""
        return self.measured_mm - self.stored_mm

    @property
    def holds(self) -> bool:
        """True if chance and the outline's uncertainty explain it."""
        return abs(self.off_mm) <= self.allowed_mm


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """A corner without which the others fit: where it should have been read, and how far off its readout is."""

    name: str
    expected: Point
    off_mm: float


@dataclass(frozen=True, kw_only=True)
class Settled:
    """Where a plate lies on the table: `pose` takes its drawing to the table's coordinates.

    `verdict`: `fits`; `distance only` where two points, or points on one line, leave open which is which and which
    side is up; `cannot be told apart` where other corners fit as well; `does not fit`.  `open` are the readings of the
    names that stay possible and would matter, `symmetries` those that would not.  `ask_for` is the corner that tells
    most.  Where nothing fits, `explained` are readings of the names that would, `suspects` corners without which the
    others do.  `spread` says how sure the pose is.
    """

    pose: Pose
    verdict: Verdict
    corners: tuple[Corner, ...]
    distances: tuple[Distance, ...]
    allowance: Allowance
    spread: Spread
    universe: Universe
    off_line_mm: float
    open: tuple[Rival, ...] = ()
    symmetries: tuple[Rival, ...] = ()
    ask_for: str | None = None
    explained: tuple[Rival, ...] = ()
    suspects: tuple[Suspect, ...] = ()
    hint: str = ""

    @property
    def worst_residual_mm(self) -> float:
        """Longest residual."""
        return max(c.residual_mm for c in self.corners)

    def read_as(self, rival: Rival) -> str:
        """Say which corners a rival takes the readings for."""
        return ", ".join(self.universe.names[k] for k in rival.corners)


def settle(plate: Plate, readings: Sequence[Reading], *, sigma_mm: float, limit_mm: float | None = None) -> Settled:
    """Find where the plate lies; raise `InputError` where the readings give no turn or one moved between readings.

    A reading scatters by `sigma_mm` in x and in y; `limit_mm` is the most that a distance may be off, by default what
    scatter and the outline's uncertainty explain all but once in a thousand.
    """
    names = named_corners(plate)
    allowance = Allowance(
        sigma_mm=sigma_mm, uncertainty_mm=plate.uncertainty_mm, corners=max(len(names), 1), limit_mm=limit_mm
    )
    read = merged(readings)
    _refuse_useless(read, allowance)
    universe = _universe(tuple((c.name, c.point) for c in names), read)
    said = tuple(universe.names.index(r.name) for r in read)
    stored, measured = np.array([r.stored for r in read]), np.array([r.at for r in read])
    found = fit(stored, measured)
    base = _Base(plate=plate, read=read, universe=universe, said=said, measured=measured, allowance=allowance)
    if allowance.holds(stored, measured, found.squares_mm2):
        return _fitting(base, found)
    return _misfit(base, found)


@dataclass(frozen=True, kw_only=True)
class _Base:
    """What is known before any verdict."""

    plate: Plate
    read: tuple[Reading, ...]
    universe: Universe
    said: tuple[int, ...]
    measured: Floats
    allowance: Allowance

    @property
    def stored(self) -> Floats:
        return self.universe.points[list(self.said)]

    def settled(self, found: Fit, verdict: Verdict) -> Settled:
        """Put together what every verdict has."""
        # Where a stated limit let more pass than chance explains, the readings scatter more than was said.
        chance = replace(self.allowance, limit_mm=None).squares_mm2(len(self.read))
        worse = max(1.0, math.sqrt(found.squares_mm2 / chance)) if verdict != "does not fit" else 1.0
        return Settled(
            pose=found.pose,
            verdict=verdict,
            corners=tuple(
                Corner(name=r.name, stored=r.stored, at=r.at, off=(float(x), float(y)), times=r.times)
                for r, (x, y) in zip(self.read, found.residuals, strict=True)
            ),
            distances=self._distances(),
            allowance=self.allowance,
            spread=Spread(points=self.stored, sigma_mm=worse * self.allowance.corner_sd_mm),
            universe=self.universe,
            off_line_mm=off_line_mm(self.stored),
        )

    def _distances(self) -> tuple[Distance, ...]:
        apart, seen = distances(self.stored), distances(self.measured)
        allowed = self.allowance.distance_mm(len(apart))
        return tuple(
            Distance(
                start=self.read[i].name,
                end=self.read[j].name,
                stored_mm=float(a),
                measured_mm=float(b),
                allowed_mm=allowed,
            )
            for (i, j), a, b in zip(pairs(len(self.read)), apart, seen, strict=True)
        )


def _refuse_useless(read: Sequence[Reading], allowance: Allowance) -> None:
    if len(read) < 2:
        raise InputError(f"{len(read)} corner read out: give two at least, far apart, or three for right way up")
    again = Allowance(sigma_mm=allowance.sigma_mm, uncertainty_mm=0.0, corners=1, limit_mm=allowance.limit_mm)
    for reading in read:
        allowed = again.distance_mm(reading.times * (reading.times - 1) // 2)
        if reading.spread_mm > allowed:
            raise InputError(
                f"{reading.name} was read {reading.times} times, {reading.spread_mm:.2f} mm apart, more than "
                f"{allowed:.2f}: plate or machine moved; take all corners again"
            )
    points, seen = np.array([r.stored for r in read]), np.array([r.at for r in read])
    for label, apart in (("in the drawing", distances(points)), ("by their readouts", distances(seen))):
        i, j = pairs(len(read))[int(apart.argmin())]
        if apart.min() <= allowance.sigma_mm:
            raise InputError(
                f"{read[i].name} and {read[j].name} are {apart.min():.2f} mm apart {label}: one point given twice; "
                "read every corner at its own place"
            )
    widest = distances(points).max()
    if widest < _LEAST_APART * allowance.corner_sd_mm:
        raise InputError(
            f"the corners read out lie within {widest:.1f} mm of one another, which gives no turn for readings that "
            f"scatter by {allowance.corner_sd_mm:.2f} mm; take corners far apart"
        )


def _universe(corners: Sequence[tuple[str, Point]], read: Sequence[Reading]) -> Universe:
    more = [(r.name, r.stored) for r in read if not r.corner]
    names, points = zip(*[*corners, *more], strict=True)
    return Universe(names=tuple(names), points=np.array(points, dtype=np.float64))


def _fitting(base: _Base, found: Fit) -> Settled:
    others = rivals(base.plate, base.universe, base.said, base.measured, base.allowance.doubting)
    left = tuple(r for r in others if not r.symmetric)
    symmetries = tuple(r for r in others if r.symmetric)
    settled = replace(base.settled(found, "fits"), open=left, symmetries=symmetries)
    if len(base.read) > 2 and not left:
        return settled
    on_line = settled.off_line_mm <= _TELLS * base.allowance.distance_mm(1)
    verdict: Verdict = "distance only" if on_line else "cannot be told apart"
    return replace(settled, verdict=verdict, ask_for=_telling(base, left))


def _telling(base: _Base, left: Sequence[Rival]) -> str | None:
    """Return the corner whose readout would tell: in every open reading of the names no corner lies near it.

    Of those that tell clearly it is the one farthest from what was read, which makes turn and shift the surest.  Where
    no reading is open and only two points were read, any corner off their line is one more check.
    """
    points, near = base.universe.points, base.allowance.distance_mm(1)
    moved = [r.moved.points(points) for r in left]
    middle = base.stored.mean(axis=0)
    worth: list[tuple[float, float, str]] = []
    for k, (name, point) in enumerate(zip(base.universe.names, points, strict=True)):
        told = min((float(np.hypot(*(m - point).T).min()) for m in moved), default=off_line_mm([*base.stored, point]))
        if k not in base.said and told > _TELLS * near:
            worth.append((min(told, _CLEARLY * near), math.dist(point, middle), name))
    return max(worth, key=lambda w: (w[0], round(w[1], 3)))[2] if worth else None


def _misfit(base: _Base, found: Fit) -> Settled:
    others = rivals(base.plate, base.universe, base.said, base.measured, base.allowance)

    def mistakes(rival: Rival) -> int:
        """A plate laid wrong side up is one mistake, two names exchanged are one."""
        changed = sum(a != b for a, b in zip(rival.corners, base.said, strict=True))
        return changed + 2 * rival.mirrored

    return replace(
        base.settled(found, "does not fit"),
        explained=tuple(sorted(others, key=mistakes)),
        suspects=() if others else _suspects(base),
        hint=_unit_hint(base),
    )


def _suspects(base: _Base) -> tuple[Suspect, ...]:
    """Corners without which the others fit, four or more being read: the others must still tell right way up."""
    named = []
    for k, reading in enumerate(base.read):
        rest = [i for i in range(len(base.read)) if i != k]
        if len(rest) < 2 or distances(base.stored[rest]).max() < _LEAST_APART * base.allowance.corner_sd_mm:
            continue
        others = fit(base.stored[rest], base.measured[rest])
        if base.allowance.holds(base.stored[rest], base.measured[rest], others.squares_mm2):
            expected = others.pose.point(reading.stored)
            named.append(Suspect(name=reading.name, expected=expected, off_mm=math.dist(expected, reading.at)))
    return tuple(named) if len(base.read) > 2 else ()


def _unit_hint(base: _Base) -> str:
    ratio = float(distances(base.measured).max() / distances(base.stored).max())
    if abs(ratio * _INCH_MM - 1.0) < 0.02:
        return "the readouts look like inches: say --units inch"
    if abs(ratio / _INCH_MM - 1.0) < 0.02:
        return "the readouts look like millimetres: say --units mm"
    return ""
