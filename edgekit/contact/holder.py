"""An instrument held at one elevation: what it grinds, the best setting, the fewest settings.

Normals that touch the edge at a station (n·t = 0) form a circle. With m = |a - (a·t)t|,
p = (a - (a·t)t)/m and q = t x p, turned to the side of the true normal, they are
n(ω) = cosω p + sinω q, and elevation α asks m cosω = sinα (theory T3). Turning n by ω turns the
ground angle by exactly as much, so the angle error at elevation α is ±(ω(α) - ω₀), ω₀ belonging to
the true normal. Each station therefore accepts one interval of elevations for a tolerance (theory
T4), and best setting, window and fewest settings are all questions about intervals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.intervals import stab
from edgekit.contact.orientation import elevation_and_roll_deg
from edgekit.evidence_table import value
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge, EdgeFrame, check_edge
from edgekit.record import Record, read_only

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Holder",
    "HolderFit",
    "RollSchedule",
    "Setting",
    "best_setting",
    "roll_schedule",
    "setting_at",
    "settings_needed",
    "settings_table",
]

STATIONS = 400
MAX_STEPS = 100_000  # of a roll schedule
_HALVINGS = 60  # of the bracket [0, π]: the best error is found to rounding


class Setting(Record):
    """One elevation of a holder on one edge.

    Attributes
    ----------
    elevation_deg : float
        Angle between handle axis and stone.
    worst_error_deg : float
        Largest size of the angle error over the stretches served.
    window_deg : tuple of float or None
        Elevations that keep the stretches served within the tolerance; None if there are none.
    roll_span_deg : float
        Turn about the handle axis from one end of the stretches served to the other.
    arc_mm, error_deg, roll_deg : array (S,)
        Stations; ground minus nominal internal angle; roll. Where the setting cannot touch the
        edge at all (|sinα| > m) the error is infinite and the roll that of the nearest approach.
    stretches_mm : tuple of (from, to)
        The stretches of the edge it serves.
    """

    elevation_deg: float
    worst_error_deg: float
    window_deg: tuple[float, float] | None
    roll_span_deg: float
    arc_mm: FloatArray
    error_deg: FloatArray
    roll_deg: FloatArray
    stretches_mm: tuple[tuple[float, float], ...]

    @property
    def mean_error_deg(self) -> float:
        """Mean size of the angle error over the whole edge, weighed by length [deg]."""
        return float(np.abs(self.error_deg).mean())

    @property
    def from_mm(self) -> float:
        """Start of the first stretch [mm]."""
        return self.stretches_mm[0][0]

    @property
    def to_mm(self) -> float:
        """End of the last stretch [mm]."""
        return self.stretches_mm[-1][1]

    def back_clearance_mm(self, flank_mm: float) -> FloatArray:
        """Distance (S,) of the flank's far end from the stone, flank sin(error) [mm].

        Negative where the stone would touch the back first: there the edge is reached only after
        that much of the back is ground away.
        """
        flank = checks.positive("flank_mm", flank_mm, "Give the flank's length: section.flank_mm.")
        return read_only(flank * np.sin(np.radians(np.clip(self.error_deg, -90.0, 90.0))))

    def __repr__(self) -> str:
        window = "no setting keeps within the tolerance everywhere"
        if self.window_deg is not None:
            low, high = self.window_deg
            window = f"any from {low:.1f}° to {high:.1f}° keeps within the tolerance"
        parts = ", ".join(f"{a:.2f} to {b:.2f} mm" for a, b in self.stretches_mm)
        return (
            f"elevation {self.elevation_deg:.1f}° for {parts} of the edge: worst angle error "
            f"{self.worst_error_deg:.1f}° (mean over the whole edge {self.mean_error_deg:.1f}°), "
            f"roll through {self.roll_span_deg:.0f}°; {window}"
        )


class _Circle(NamedTuple):
    """The circle of touching normals at the stations of an edge, see the module's text."""

    edge: Edge
    arc_mm: FloatArray
    size: FloatArray  # m (S,)
    start: FloatArray  # p (S, 3)
    side: FloatArray  # q (S, 3)
    true: FloatArray  # ω₀ (S,) in [0, π]
    sign: FloatArray  # ±1 (S,): the ground angle grows as sign · ω

    def omega(self, elevation_rad: float) -> FloatArray:
        """ω (S,) at one elevation; at the end of the circle where it cannot be reached."""
        return np.asarray(np.arccos(np.clip(np.sin(elevation_rad) / self.size, -1.0, 1.0)))

    def normals(self, elevation_rad: float) -> FloatArray:
        """Normals (S, 3) held at one elevation."""
        omega = self.omega(elevation_rad)[..., None]
        return np.asarray(np.cos(omega) * self.start + np.sin(omega) * self.side)

    def error(self, elevation_rad: float) -> FloatArray:
        """Angle error (S,) [rad] at one elevation, or at the nearest approach to it."""
        return self.sign * (self.omega(elevation_rad) - self.true)

    def touches(self, elevation_rad: float) -> FloatArray:
        """Where the elevation can be reached (S,) bool."""
        return np.asarray(np.abs(np.sin(elevation_rad)) <= self.size * (1 + 1e-12))

    def intervals(self, tolerance_rad: float) -> FloatArray:
        """Elevations (S, 2) [rad] that each station accepts within the tolerance."""
        low = np.minimum(self.true + tolerance_rad, np.pi)
        high = np.maximum(self.true - tolerance_rad, 0.0)
        sines = self.size[:, None] * np.cos(np.stack([low, high], axis=1))
        return np.asarray(np.arcsin(np.clip(sines, -1.0, 1.0)))

    def nearest(self, elevations: Sequence[float]) -> NDArray[np.int_]:
        """Which of several elevations [rad] errs least at each station (S,).

        One that cannot be reached comes after all that can.
        """
        error = np.array([self.error(item) for item in elevations])
        touches = np.array([self.touches(item) for item in elevations])
        return np.asarray(np.argmin(np.abs(error) + np.where(touches, 0.0, np.pi), axis=0))

    def setting(
        self, elevation: float, served: NDArray[np.bool_], intervals: FloatArray
    ) -> Setting:
        """The setting at an elevation [rad] that serves some of the stations."""
        error = np.where(self.touches(elevation), np.degrees(self.error(elevation)), np.inf)
        _, roll = elevation_and_roll_deg(self.edge, self.normals(elevation))
        low, high = np.degrees(_common(intervals[served])).tolist()
        return Setting(
            elevation_deg=float(np.degrees(elevation)),
            worst_error_deg=float(np.abs(error[served]).max()),
            window_deg=(low, high) if low <= high else None,
            roll_span_deg=float(np.ptp(roll[served])),
            arc_mm=self.arc_mm,
            error_deg=error,
            roll_deg=roll,
            stretches_mm=_stretches(self.arc_mm, served),
        )


def _circle(edge: Edge, arc_mm: ArrayLike, frame: EdgeFrame | None = None) -> _Circle:
    frame = frame or edge.frame(arc_mm, order=0)
    t, n = frame.tangent.value, frame.outward.value
    a = edge.handle_axis
    square = a - (t @ a)[..., None] * t
    size = vec.norm(square)
    alive = size > 1e-9  # else the handle runs along the edge and every normal has elevation 0
    start = np.where(alive[..., None], square / np.where(alive, size, 1.0)[..., None], n)
    side = vec.cross(t, start)
    side = side * np.where(vec.dot(n, side) < 0, -1.0, 1.0)[..., None]
    true = np.arctan2(vec.dot(n, side), vec.dot(n, start))
    turned = -np.sin(true)[..., None] * start + np.cos(true)[..., None] * side
    sign = np.where(vec.dot(turned, frame.face.value) < 0, -1.0, 1.0)  # opening raises the normal
    return _Circle(edge, np.asarray(arc_mm), np.where(alive, size, 1e-12), start, side, true, sign)


def _held(edge: Edge, tolerance_deg: float, stations: int) -> tuple[_Circle, FloatArray]:
    """The circle of an edge, and the elevations [rad] within the tolerance at each station."""
    check_edge(edge)
    checks.between("tolerance_deg", tolerance_deg, 0.0, 45.0, "Give degrees, such as 2.")
    circle = _circle(edge, *edge.at_stations(stations))
    return circle, circle.intervals(np.radians(float(tolerance_deg)))


def held_normals(edge: Edge, elevations_deg: ArrayLike, arc_mm: ArrayLike) -> FloatArray:
    """Normals (S, 3) of the stone at one elevation, where the edge touches it at `arc_mm` (S,).

    Of several elevations the one that errs least at a point counts there. Where an elevation
    cannot be reached the nearest approach is returned.
    """
    circle = _circle(edge, arc_mm)
    elevations = np.radians(np.atleast_1d(elevations_deg)).tolist()
    every = np.stack([circle.normals(item) for item in elevations])
    nearest = circle.nearest(elevations)[None, ..., None]
    return np.asarray(np.take_along_axis(every, nearest, axis=0)[0])


def held_errors(edge: Edge, elevation_deg: float, arc_mm: ArrayLike) -> FloatArray:
    """Angle error (S,) [deg] at one elevation; where it cannot be reached, past 90°."""
    circle, elevation = _circle(edge, arc_mm), np.radians(elevation_deg)
    error = np.degrees(circle.error(elevation))
    return np.where(circle.touches(elevation), error, error + np.copysign(90.0, error))


def _stretches(arc: FloatArray, served: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """Runs of served stations, each reaching half-way to the next station that is not."""
    between = np.concatenate([arc[:1], (arc[1:] + arc[:-1]) / 2, arc[-1:]])
    change = np.flatnonzero(np.diff(served, prepend=False, append=False))
    starts, ends = between[change[::2]].tolist(), between[change[1::2]].tolist()
    return tuple(zip(starts, ends, strict=True))


def _deepest(intervals: FloatArray) -> tuple[float, float, int]:
    """Where most of the intervals (N, 2) overlap, from low to high, and how many do."""
    lows, highs = np.sort(intervals, axis=0).T
    ended = np.searchsorted(highs, lows, side="left")
    depth = np.searchsorted(lows, lows, side="right") - ended
    at = int(np.argmax(depth))
    return float(lows[at]), float(highs[ended[at]]), int(depth[at])


def _common(intervals: FloatArray) -> tuple[float, float]:
    """What all intervals share, from low to high; nothing if low is above high."""
    return float(intervals[:, 0].max()), float(intervals[:, 1].min())


def best_setting(
    edge: Edge,
    *,
    tolerance_deg: float = value("tolerance_deg"),
    share: float = 1.0,
    stations: int = STATIONS,
) -> Setting:
    """The one elevation whose worst angle error along the edge, or along a share of it, is least.

    Parameters
    ----------
    edge : Edge
        The cutting edge.
    tolerance_deg : float
        Angle error allowed, for the window [deg].
    share : float
        Share of the edge's length that counts. A toe of some tenths of a millimetre turns away
        from every setting and would pull it off the rest of the edge: with 0.9 the tenth that
        fits worst is left to the hand, and the setting's stretches say which.
    stations : int
        Stations at which the error is judged.

    Returns
    -------
    Setting

    Raises
    ------
    BadArgument
        A blade in place of one of its edges; a number outside its range.

    Examples
    --------
    >>> import edgekit as ek
    >>> setting = ek.best_setting(ek.patterns.universal_curette().edges["left"])
    >>> round(setting.elevation_deg, 6), round(setting.worst_error_deg, 6)
    (15.0, 0.0)
    >>> tuple(round(end, 6) for end in setting.window_deg)
    (13.0, 17.0)
    """
    circle, intervals = _held(edge, tolerance_deg, stations)
    count = len(intervals)
    needed = np.ceil(checks.fraction("share", share) * count - 1e-9)
    tight, wide = 0.0, np.pi
    for _ in range(_HALVINGS):
        middle = (tight + wide) / 2
        enough = _deepest(circle.intervals(middle))[2] >= needed
        tight, wide = (tight, middle) if enough else (middle, wide)
    low, high, _ = _deepest(circle.intervals(wide))
    best = (low + high) / 2
    within = np.abs(circle.error(best)) <= wide + 1e-9
    return circle.setting(best, within if needed < count else np.full(count, True), intervals)


def setting_at(
    edge: Edge,
    elevation_deg: float,
    *,
    tolerance_deg: float = value("tolerance_deg"),
    stations: int = STATIONS,
) -> Setting:
    """What one chosen elevation does along the whole edge.

    Parameters
    ----------
    edge : Edge
    elevation_deg : float
        Between handle and stone [deg].
    tolerance_deg : float
        Largest angle error allowed [deg].
    stations : int
        Stations along the edge.

    Returns
    -------
    Setting

    Raises
    ------
    BadArgument
        A blade in place of one of its edges; a number outside its range.

    Examples
    --------
    >>> import edgekit as ek
    >>> setting = ek.setting_at(ek.patterns.universal_curette().edges["left"], 18.0)
    >>> round(setting.worst_error_deg, 6)
    3.0
    """
    elevation = np.radians(checks.between("elevation_deg", elevation_deg, -90.0, 90.0))
    circle, intervals = _held(edge, tolerance_deg, stations)
    return circle.setting(float(elevation), np.full(len(intervals), True), intervals)


def settings_needed(
    edge: Edge, *, tolerance_deg: float = value("tolerance_deg"), stations: int = STATIONS
) -> tuple[Setting, ...]:
    """The fewest settings that hold the angle within the tolerance at every station.

    Each station accepts an interval of elevations, and the fewest points that stab all intervals
    are the fewest settings (theory T27, `edgekit.contact.intervals`). Each setting is then moved to
    the middle of what its stations allow, and each station goes to the setting with the least error
    there.

    Parameters
    ----------
    edge : Edge
    tolerance_deg : float
        Largest angle error allowed [deg].
    stations : int
        Stations along the edge.

    Returns
    -------
    tuple of Setting
        The fewest that keep the tolerance; what no holder reaches belongs to none.

    Raises
    ------
    BadArgument
        A blade in place of one of its edges; a number outside its range.

    Examples
    --------
    >>> import edgekit as ek
    >>> len(ek.settings_needed(ek.patterns.universal_curette().edges["left"]))
    1
    """
    circle, intervals = _held(edge, tolerance_deg, stations)
    opened, _ = stab(intervals)
    first = np.searchsorted(intervals[opened, 1], intervals[:, 0])
    elevations = [sum(_common(intervals[first == k])) / 2 for k in range(len(opened))]
    nearest = circle.nearest(elevations)
    settings = [
        circle.setting(elevation, nearest == k, intervals) for k, elevation in enumerate(elevations)
    ]
    return tuple(sorted(settings, key=lambda setting: setting.from_mm))


def settings_table(settings: Sequence[Setting]) -> pd.DataFrame:
    """One row per setting: elevation, stretches, worst error, and roll at the two ends.

    Parameters
    ----------
    settings : sequence of Setting

    Returns
    -------
    pandas.DataFrame
        ``elevation_deg, stretches_mm, worst_error_deg, roll_from_deg, roll_to_deg``.

    Raises
    ------
    BadArgument
        Anything but settings.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.area_specific_curette().edges["used"]
    >>> table = ek.settings_table(ek.settings_needed(edge))
    >>> bool((table["worst_error_deg"] <= 2).all())
    True
    """
    import pandas as pd

    rows = []
    for setting in checks.items_of(
        "settings", settings, Setting, "Give what settings_needed returns."
    ):
        roll = np.interp(np.ravel(setting.stretches_mm), setting.arc_mm, setting.roll_deg)
        rows.append(
            {
                "elevation_deg": setting.elevation_deg,
                "stretches_mm": ", ".join(f"{a:.2f} to {b:.2f}" for a, b in setting.stretches_mm),
                "worst_error_deg": setting.worst_error_deg,
                "roll_from_deg": roll[0],
                "roll_to_deg": roll[-1],
            }
        )
    return pd.DataFrame(rows)


def station_windows(
    edge: Edge, *, tolerance_deg: float = value("tolerance_deg"), stations: int = STATIONS
) -> tuple[FloatArray, FloatArray]:
    """The elevations that each station of an edge accepts by itself.

    Returns
    -------
    arc_mm : array (S,)
        Stations [mm].
    windows_deg : array (S, 2)
        Lowest and highest elevation that keeps the angle error there within the tolerance [deg].

    Examples
    --------
    >>> import edgekit as ek
    >>> from edgekit.contact.holder import station_windows
    >>> _, windows = station_windows(ek.patterns.universal_curette().edges["left"], stations=3)
    >>> windows.round(6).tolist()
    [[13.0, 17.0], [13.0, 17.0], [13.0, 17.0]]
    """
    circle, intervals = _held(edge, tolerance_deg, stations)
    return circle.arc_mm, np.degrees(intervals)


def _check_setting(setting: object) -> None:
    checks.instance("setting", setting, Setting, "Give a setting, such as best_setting(edge).")


class RollSchedule(Record):
    """How to turn the handle so that every stretch of edge gets the same dwell.

    Arrays (T,): time [s], arc length of the contact [mm], roll [deg] and rate of roll [deg/s].
    """

    time_s: FloatArray
    arc_mm: FloatArray
    roll_deg: FloatArray
    rate_deg_per_s: FloatArray


def roll_schedule(setting: Setting, *, seconds: float, steps: int = 25) -> RollSchedule:
    """Roll against time for contact that moves along the edge at constant speed.

    Parameters
    ----------
    setting : Setting
    seconds : float
        Time from heel to toe [s].
    steps : int
        Rows of the schedule.

    Returns
    -------
    RollSchedule
        ``time_s, arc_mm, roll_deg`` at steady speed along the edge.

    Raises
    ------
    BadArgument
        Not a setting; a time not above 0; fewer than 2 steps.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> plan = ek.roll_schedule(ek.best_setting(edge), seconds=12)
    >>> bool(abs(plan.rate_deg_per_s[-1]) > abs(plan.rate_deg_per_s[0]))  # the toe turns fast
    True
    """
    _check_setting(setting)
    seconds = checks.positive("seconds", seconds)
    size = checks.count("steps", steps, 2, most=MAX_STEPS, bytes_each=32)
    time = np.linspace(0.0, seconds, size)
    arc = np.linspace(setting.from_mm, setting.to_mm, len(time))
    rate = np.gradient(setting.roll_deg, setting.arc_mm) * (arc[-1] - arc[0]) / seconds
    return RollSchedule(
        time_s=time,
        arc_mm=arc,
        roll_deg=np.interp(arc, setting.arc_mm, setting.roll_deg),
        rate_deg_per_s=np.interp(arc, setting.arc_mm, rate),
    )


@dataclass(frozen=True, kw_only=True)
class HolderFit:
    """Whether a holder can bring one elevation to the stone.

    ``riser_mm``: what must be put under the stone (negative: the stone would have to sink, the
    elevation cannot be reached). ``handle_mm``, ``shank_mm``: least height of each above the stone
    while over it, infinite if never over it. ``clears``: all heights are positive.
    """

    riser_mm: float
    handle_mm: float
    shank_mm: float

    @property
    def clears(self) -> bool:
        """Nothing but the blade touches the stone."""
        return self.handle_mm > 0 and self.shank_mm > 0

    @property
    def reachable(self) -> bool:
        """The stone need not sink into the bench."""
        return self.riser_mm >= 0


@dataclass(frozen=True, kw_only=True)
class Holder:
    """A stand that guides the handle through a pivot while the stone lies flat.

    Parameters
    ----------
    pivot_height_mm : float
        Height of the pivot above the bench.
    reach_mm : float
        Distance along the handle axis from the pivot to the contact.
    stone_height_mm : float
        Height of the stone's surface without a riser.
    stone_behind_mm : float
        How far the stone extends from the contact towards the handle.
    handle_radius_mm, handle_from_mm : float
        Radius of the handle and its distance from the contact along the axis.
    shank_radius_mm, shank_from_mm : float
        The same for the shank.

    Examples
    --------
    >>> import edgekit as ek
    >>> fit = ek.Holder().fit(elevation_deg=15.0)
    >>> fit.reachable, fit.clears
    (True, True)
    >>> ek.Holder().fit(elevation_deg=0.0).clears
    False
    """

    pivot_height_mm: float = value("holder_pivot_height_mm")
    reach_mm: float = value("holder_reach_mm")
    stone_height_mm: float = value("stone_height_mm")
    stone_behind_mm: float = value("stone_length_mm") / 4
    handle_radius_mm: float = value("handle_radius_mm")
    handle_from_mm: float = value("handle_from_mm")
    shank_radius_mm: float = value("shank_radius_mm")
    shank_from_mm: float = value("length_mm")

    def __post_init__(self) -> None:
        for name in (field.name for field in fields(self)):
            size = checks.at_least(name, getattr(self, name), 0.0, "Give millimetres, 0 or more.")
            if name not in ("stone_height_mm", "stone_behind_mm"):
                checks.positive(name, size, "Give millimetres.")
            checks.keep_numbers(self, **{name: size})

    def fit(self, elevation_deg: float) -> HolderFit:
        """Riser and clearances at one elevation (the handle's height is pivot - reach sinα)."""
        alpha = np.radians(checks.between("elevation_deg", elevation_deg, -90.0, 90.0))
        surface = self.pivot_height_mm - self.reach_mm * np.sin(alpha)
        return HolderFit(
            riser_mm=float(surface - self.stone_height_mm),
            handle_mm=self._height(self.handle_from_mm, self.handle_radius_mm, alpha),
            shank_mm=self._height(self.shank_from_mm, self.shank_radius_mm, alpha),
        )

    def _height(self, from_mm: float, radius_mm: float, alpha: float) -> float:
        """Least height of a cylinder about the axis, from `from_mm` to the end of the stone."""
        last = self.stone_behind_mm / np.cos(alpha) + radius_mm * np.tan(abs(alpha))
        if not from_mm < last:
            return float("inf")
        lowest = from_mm if alpha >= 0 else last
        return float(lowest * np.sin(alpha) - radius_mm * np.cos(alpha))
