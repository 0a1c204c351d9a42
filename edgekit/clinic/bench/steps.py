"""Steps of work: where along the edge, how the handle turns, how many placements and rounds."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.clinic.bench.requirements import STATIONS, EdgeRequirements, Tool
from edgekit.clinic.bench.runs import Arrangement, Piece
from edgekit.contact.holder import held_errors, setting_at
from edgekit.evidence_table import value
from edgekit.record import Record, read_only
from edgekit.units import UM_PER_MM

# Stations over which the turn of the stone is averaged, so that ripple adds no placements.
WINDOW = 8
MIN_STATIONS = 3  # stations: a gap or stretch shorter than this is not worth a step of its own


class Step(Record):
    """One stretch of one edge in one go.

    Attributes
    ----------
    requirements : EdgeRequirements
    run : int
        Set-up of the holder, from 0; −1 without it.
    tool : Tool
    stations : array
        Indices of its stations, from the first to the last of the stretch.
    elevation_deg, roll_deg : array
        At those stations: as held, or as true for the hand and the rod.
    error_deg : float
        Largest angle error at the stations served, wherever the holder stands within its error.
    placements, rounds : int
        Placements over the stretch, and how many times to go round them.
    """

    requirements: EdgeRequirements
    run: int
    tool: Tool
    stations: NDArray[np.int64]
    elevation_deg: FloatArray
    roll_deg: FloatArray
    error_deg: float
    placements: int
    rounds: int

    @property
    def strokes(self) -> int:
        """Placements times rounds."""
        return self.placements * self.rounds

    @property
    def placement_roll_deg(self) -> FloatArray:
        """Roll at each placement (placements,), in the middle of its share of the stretch [deg]."""
        return self.at_placements(self.roll_deg)

    @property
    def placement_elevation_deg(self) -> FloatArray:
        """Elevation at each placement (placements,) [deg]."""
        return self.at_placements(self.elevation_deg)

    def at_placements(self, values: FloatArray) -> FloatArray:
        """What the step's stations have (S,), at its placements (placements,)."""
        share = np.cumsum(_density_per_mm(self.requirements)[self.stations])
        if not share[-1] > 0:  # a straight edge, where one placement serves all
            share = np.arange(1.0, len(share) + 1)
        middle = (np.arange(self.placements) + 0.5) / self.placements * share[-1]
        places = share - np.diff(share, prepend=0.0) / 2
        return read_only(np.interp(middle, places, values))

    @property
    def max_rod_mm(self) -> float:
        """Radius of the largest rod that reaches the whole stretch [mm]."""
        return float(self.requirements.held.max_rod_mm[self.stations].min())

    @property
    def hollow_um(self) -> float:
        """How deep its hollows are at most [µm]."""
        return float(self.requirements.hollow_um[self.stations].max())

    @property
    def span_mm(self) -> tuple[float, float]:
        """Stretch of the edge, each end half-way to the next station [mm]."""
        arc = self.requirements.held.arc_mm
        first, last = int(self.stations[0]), int(self.stations[-1])
        low = arc[first] if first == 0 else (arc[first] + arc[first - 1]) / 2
        high = arc[last] if last == len(arc) - 1 else (arc[last] + arc[last + 1]) / 2
        return float(low), float(high)


def placements_over(need: EdgeRequirements, stations: NDArray[np.int64], ridge_um: float) -> int:
    """Placements that keep the ridges of a stretch below a limit.

    A ridge between placements Δs apart stands (n'·t) Δs²/(8 sinβ) along the face, so the stretch
    needs ∫ √((n'·t)/(8 h sinβ)) ds of them; hollow parts, where no ridge can stand, count as
    straight.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> need = ek.plan_bench({"UC": blade}).requirements[0]
    >>> placements_over(need, need.groups[0], 5.0), len(
    ...     ek.spaced_placements(blade.edges["left"], ridge_um=5.0))
    (9, 9)
    """
    arc = need.held.arc_mm
    density = _density_per_mm(need, ridge_um)
    share = float(density[stations].sum() * (arc[1] - arc[0]))
    return max(math.ceil(share - 1e-9), 1)


def _density_per_mm(need: EdgeRequirements, ridge_um: float = 1.0) -> FloatArray:
    """Placements per millimetre of edge at each station that keep ridges below a limit."""
    arc = need.held.arc_mm
    turn = np.concatenate([[0.0], np.cumsum(need.held.stone_curvature_per_mm[1:] * np.diff(arc))])
    ahead = np.minimum(np.arange(len(arc)) + WINDOW // 2, len(arc) - 1)
    behind = np.maximum(np.arange(len(arc)) - WINDOW // 2, 0)
    bend = np.maximum((turn[ahead] - turn[behind]) / (arc[ahead] - arc[behind]), 0.0)
    sine = np.sin(np.radians(need.held.stone_to_face_deg))
    return np.asarray(np.sqrt(bend * UM_PER_MM / (8 * ridge_um * sine)))


def _rounds(need: EdgeRequirements, stations: NDArray[np.int64], placements: int) -> int:
    """Rounds that give the stretch its share of the strokes an edge takes."""
    strokes = value("bench_strokes_per_edge") * len(stations) / len(need.held.arc_mm)
    return max(math.ceil(strokes / placements - 1e-9), 1)


def _runs_of(stations: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Stretches of neighbouring stations; gaps too short for a step of their own are included."""
    cut = np.flatnonzero(np.diff(stations) > MIN_STATIONS) + 1
    return [np.arange(part[0], part[-1] + 1) for part in np.split(stations, cut)]


def plan_steps(
    needs: Sequence[EdgeRequirements], arrangement: Arrangement, ridge_um: float
) -> list[Step]:
    """The steps of an arrangement, in order of work."""
    return [
        step
        for piece in arrangement.pieces
        for step in _steps(needs[piece.edge], arrangement, piece, ridge_um)
    ]


def _steps(
    need: EdgeRequirements, arrangement: Arrangement, piece: Piece, ridge_um: float
) -> list[Step]:
    elevation, roll = need.held.elevation_deg, need.held.roll_deg
    error = np.zeros(STATIONS)
    if piece.tool == Tool.HOLDER:
        setting = float(arrangement.settings_deg[piece.run])
        at = setting_at(need.edge, setting, stations=STATIONS)
        elevation, roll = np.full(STATIONS, at.elevation_deg), at.roll_deg
        error = _largest_error(need, setting)
    steps = []
    for stretch in _runs_of(piece.stations):
        served = np.intersect1d(stretch, piece.stations, assume_unique=True)
        count = placements_over(need, stretch, ridge_um)
        steps.append(
            Step(
                requirements=need,
                run=piece.run,
                tool=piece.tool,
                stations=stretch,
                elevation_deg=elevation[stretch],
                roll_deg=roll[stretch],
                error_deg=float(error[served].max()),
                placements=count,
                rounds=_rounds(need, stretch, count),
            )
        )
    return steps


def _largest_error(need: EdgeRequirements, setting_deg: float) -> FloatArray:
    """Largest size of the angle error at each station (S,): it lies at an end of the play."""
    ends = (setting_deg - need.setting_error_deg, setting_deg + need.setting_error_deg)
    errors = [np.abs(held_errors(need.edge, end, need.held.arc_mm)) for end in ends]
    return np.maximum(*errors)
