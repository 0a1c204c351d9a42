"""What each edge of a tray requires: windows of settings, hollows, stretches for the hand.

A station can be served in three ways. A flat stone in a holder serves it if some setting that can
be taken keeps the angle there, wherever the holder stands within its error of that setting: the
error is taken off every window at both ends before anything is planned. A hollow (n'·t < 0) is out
of a flat stone's reach: it lies behind the line across the hollow by n·(line − C), and one that is
deeper than the limit needs a rod. Everything else is for the hand.
"""

from __future__ import annotations

import enum

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.clinic.bench.settings import SettingRange, fewest_settings
from edgekit.contact.holder import Holder, station_windows
from edgekit.contact.orientation import Orientation, orient
from edgekit.errors import Cannot
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade
from edgekit.geometry.edge import Edge
from edgekit.record import Record
from edgekit.units import UM_PER_MM

STATIONS = 201  # stations of an edge of some millimetres: 0.03 mm apart, a tenth of a toe's radius
ROUNDING_DEG = 1e-9
# A hollow counts when it is deeper than this many standard deviations of the digitising.
NOISE_SDS = 3.0


class Tool(enum.IntEnum):
    """What serves a station."""

    HOLDER = 0
    HAND = 1
    ROD = 2


class EdgeRequirements(Record):
    """One edge of a tray.

    Attributes
    ----------
    instrument, name : str
    blade : Blade
    held : Orientation
        The true orientation at each station (S,).
    setting_error_deg : float
        How far the holder may stand from its setting; taken off all windows here at both ends.
    room_deg : array (S,)
        Half the width of what each station accepts, before anything is taken off.
    windows_deg : array (S, 2)
        Settings that each station accepts, cut down to what the holder can take.
    groups : tuple of array
        Stations that go together, each group at one setting.
    common_deg : array (G, 2)
        Settings that serve each group.
    tools : array (S,) of int
        A `Tool` for each station.
    hollow_um : array (S,)
        How far the station lies behind the line across its hollow.
    min_settings : int
        The fewest settings that would serve every station a flat stone reaches, were there no limit
        to their number.
    urgent : bool
        Whether it comes first.
    """

    instrument: str
    name: str
    blade: Blade
    held: Orientation
    setting_error_deg: float
    room_deg: FloatArray
    windows_deg: FloatArray
    groups: tuple[NDArray[np.int64], ...]
    common_deg: FloatArray
    tools: NDArray[np.int64]
    hollow_um: FloatArray
    min_settings: int
    urgent: bool = False

    @property
    def edge(self) -> Edge:
        """The edge itself."""
        return self.blade.edges[self.name]

    @property
    def key(self) -> tuple[str, str]:
        """Instrument and edge."""
        return self.instrument, self.name

    def length_mm(self, tool: Tool) -> float:
        """Length of edge that one tool serves."""
        return self.edge.length_mm * float(np.mean(self.tools == tool))


def min_clear_deg(holder: Holder) -> float:
    """The lowest elevation from which on handle and shank clear the stone [deg].

    Examples
    --------
    >>> round(min_clear_deg(Holder()), 1)
    10.0
    """
    scan = np.arange(-89.0, 89.5, 0.5)
    clears = np.array([holder.fit(elevation_deg=float(angle)).clears for angle in scan])
    if clears.all():
        return -90.0
    if not clears[-1]:
        raise Cannot(
            "the handle or shank touches the stone at every elevation",
            holder,
            "Check the holder's dimensions: pivot, reach, handle, shank.",
        )
    low, high = (float(angle) for angle in scan[np.flatnonzero(~clears)[-1] :][:2])
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (low, middle) if holder.fit(elevation_deg=middle).clears else (middle, high)
    return high


def requirements(
    instrument: str,
    blade: Blade,
    name: str,
    *,
    tolerance_deg: float,
    setting_error_deg: float,
    setting_range: SettingRange,
    max_settings: int,
) -> EdgeRequirements:
    """What one edge requires of the holder.

    The edge takes the settings that serve the greatest length: one, and another as long as there
    are no more than `max_settings` and each serves enough to be worth its set-up. Each station goes
    to the setting nearest its own elevation; the rest of the edge goes to the hand.
    """
    edge = blade.edges[name]
    held = orient(edge, stations=STATIONS)
    _, accepted = station_windows(edge, tolerance_deg=tolerance_deg, stations=STATIONS)
    windows = setting_range.within(_narrowed(accepted, setting_error_deg))
    noise = 0.0 if blade.trace is None else blade.trace.edges[name].noise_um
    hollow = _hollow_um(held)
    rod = _deep(~held.reachable, hollow, value("bench_hollow_um") + NOISE_SDS * noise)
    rows = np.flatnonzero(~rod & (windows[:, 0] <= windows[:, 1]))
    points, min_settings = _points(windows[rows], max_settings, edge.length_mm / STATIONS)
    groups = _groups(windows, rows, points, held.elevation_deg)
    tools = np.where(rod, Tool.ROD, Tool.HAND).astype(np.int64)
    for group in groups:
        tools[group] = Tool.HOLDER
    common = [(windows[group, 0].max(), windows[group, 1].min()) for group in groups]
    return EdgeRequirements(
        instrument=instrument,
        name=name,
        blade=blade,
        held=held,
        setting_error_deg=setting_error_deg,
        room_deg=np.diff(accepted, axis=1)[:, 0] / 2,
        windows_deg=windows,
        groups=groups,
        common_deg=np.array(common).reshape(-1, 2),
        tools=tools,
        hollow_um=hollow,
        min_settings=min_settings,
    )


def _narrowed(windows_deg: FloatArray, error_deg: float) -> FloatArray:
    """Windows less the holder's error at both ends; one as wide as that leaves its middle."""
    middle = windows_deg.mean(axis=1, keepdims=True)
    half = np.diff(windows_deg, axis=1) / 2 - error_deg
    half = np.where(np.abs(half) < ROUNDING_DEG, 0.0, half)
    return np.asarray(middle + half * np.array([-1.0, 1.0]))


def _points(windows: FloatArray, most: int, spacing_mm: float) -> tuple[FloatArray, int]:
    """Settings an edge takes, and the fewest that would serve every station."""
    fewest = fewest_settings(windows)
    count = len(fewest.settings_deg)
    if count <= 1:
        return fewest.settings_deg, count
    worth = value("bench_least_mm") / spacing_mm
    points, served = _widest(windows, min(most, count))
    keep = 1 + int(np.argmin(np.append(np.diff(served) >= worth, False)))
    return points[keep - 1], count


def _groups(
    windows: FloatArray, rows: NDArray[np.int64], points: FloatArray, elevation_deg: FloatArray
) -> tuple[NDArray[np.int64], ...]:
    """Stations of each setting: those that it serves and that lie nearest to it."""
    if not len(points):
        return ()
    inside = (windows[rows, :1] <= points) & (points <= windows[rows, 1:])
    away = np.where(inside, np.abs(points - elevation_deg[rows, None]), np.inf)
    nearest = np.where(inside.any(axis=1), np.argmin(away, axis=1), len(points))
    groups = (rows[nearest == at] for at in range(len(points)))
    return tuple(group for group in groups if len(group))


def _deep(hollow: NDArray[np.bool_], depth_um: FloatArray, limit_um: float) -> NDArray[np.bool_]:
    """All stations of those hollows that are deeper than a limit somewhere."""
    label = np.cumsum(np.diff(hollow, prepend=hollow[:1]))
    deep = np.unique(label[hollow & (depth_um > limit_um)])
    return np.asarray(hollow & np.isin(label, deep))


def _hollow_um(held: Orientation) -> FloatArray:
    """Depth of each station behind the line across its hollow (S,); 0 if a flat stone reaches."""
    depth = np.zeros(len(held.arc_mm))
    change = np.flatnonzero(np.diff(np.concatenate([[0], ~held.reachable, [0]])))
    for first, last in zip(change[::2], change[1::2] - 1, strict=True):
        start, end = held.position_mm[first], held.position_mm[last]
        chord = end - start
        along = (held.position_mm[first : last + 1] - start) @ chord
        line = start + np.outer(along / max(float(chord @ chord), 1e-12), chord)
        behind = line - held.position_mm[first : last + 1]
        depth[first : last + 1] = np.einsum("sj,sj->s", behind, held.normal[first : last + 1])
    return np.asarray(np.maximum(depth, 0.0) * UM_PER_MM)


def _widest(windows: FloatArray, most: int) -> tuple[list[FloatArray], FloatArray]:
    """The best 1, 2, … `most` settings, and how many windows each choice serves: the most possible.

    By dynamic programming over rising settings: gain[i, j] is the number of windows with setting j
    and without the next lower setting i. A setting may be raised to the first upper end of its
    windows without losing one, so upper ends suffice.
    """
    points = np.unique(windows[:, 1])
    first = np.searchsorted(points, windows[:, 0], side="left")
    last = np.searchsorted(points, windows[:, 1], side="right") - 1
    count = np.zeros((len(points), len(points)))
    np.add.at(count, (first, last), 1.0)
    # windows that begin at or before point i and end at or after point j
    both = np.cumsum(np.cumsum(count, axis=0)[:, ::-1], axis=1)[:, ::-1]
    single = np.diagonal(both).copy()
    gain = single[None, :] - both
    gain[np.tri(len(points), dtype=bool)] = -np.inf
    best, back = single, [np.full(len(points), -1)]
    choices, served = [points[[int(np.argmax(best))]]], [float(best.max())]
    for _ in range(most - 1):
        total = best[:, None] + gain
        back.append(np.argmax(total, axis=0))
        best = total.max(axis=0)
        at, path = int(np.argmax(best)), []
        for step in reversed(back):
            path.append(at)
            at = int(step[at])
        choices.append(points[path[::-1]])
        served.append(float(best.max()))
    return choices, np.asarray(served)
