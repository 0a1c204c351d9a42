"""Steps of work: where along the edge, how the handle turns, how many placements and rounds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.clinic.bench.requirements import STATIONS, EdgeRequirements, Tool
from edgekit.clinic.bench.runs import Arrangement, Piece
from edgekit.contact.holder import held_errors, setting_at
from edgekit.evidence_table import value

__all__ = ["Step", "placements_over", "plan_steps"]

WINDOW = 8
"""Stations over which the turn of the stone is averaged, so that ripple of a trace calls for no placement."""
SHORTEST = 3
"""Stations: a gap or stretch shorter than this is not worth a step of its own."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Step:
    """One stretch of one edge in one go.

    Attributes
    ----------
    ask : EdgeRequirements
    run : int
        Set-up of the holder, from 0; −1 without it.
    served : Tool
    stations : array
        Indices of its stations, from the first to the last of the stretch.
    elevation_deg, roll_deg : array
        At those stations: as held, or as true for the hand and the rod.
    error_deg : float
        Largest angle error at the stations served, wherever the holder stands within its error.
    placements, rounds : int
        Placements over the stretch, and how many times to go round them.
    """

    ask: EdgeRequirements
    run: int
    served: Tool
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
    def span_mm(self) -> tuple[float, float]:
        """Stretch of the edge, each end half-way to the next station [mm]."""
        arc = self.ask.held.arc_mm
        first, last = int(self.stations[0]), int(self.stations[-1])
        low = arc[first] if first == 0 else (arc[first] + arc[first - 1]) / 2
        high = arc[last] if last == len(arc) - 1 else (arc[last] + arc[last + 1]) / 2
        return float(low), float(high)


def placements_over(ask: EdgeRequirements, stations: NDArray[np.int64], ridge_um: float) -> int:
    """Placements that keep the ridges of a stretch below a limit.

    A ridge between placements Δs apart stands (n'·t) Δs²/(8 sinβ) along the face, so the stretch needs
    ∫ √((n'·t)/(8 h sinβ)) ds of them; hollow parts, where no ridge can stand, count as straight.

    Examples
    --------
    >>> import edgekit as ek
    >>> from edgekit.clinic.bench.requirements import ask
    >>> from edgekit.clinic.bench.settings import SettingRange
    >>> blade = ek.patterns.universal_curette()
    >>> asked = ask("UC", blade, "left", tolerance_deg=2.0, setting_error_deg=0.5, max_settings=2,
    ...             takes=SettingRange(low_deg=0, high_deg=90))
    >>> placements_over(asked, asked.groups[0], 5.0), len(
    ...     ek.spaced_placements(blade.edges["left"], ridge_um=5.0))
    (9, 9)
    """
    arc = ask.held.arc_mm
    turn = np.concatenate([[0.0], np.cumsum(ask.held.stone_curvature_per_mm[1:] * np.diff(arc))])
    ahead = np.minimum(np.arange(len(arc)) + WINDOW // 2, len(arc) - 1)
    behind = np.maximum(np.arange(len(arc)) - WINDOW // 2, 0)
    bend = np.maximum((turn[ahead] - turn[behind]) / (arc[ahead] - arc[behind]), 0.0)
    sine = np.sin(np.radians(ask.held.stone_to_face_deg))
    density = np.sqrt(bend * 1e3 / (8 * ridge_um * sine))
    share = float(density[stations].sum() * (arc[1] - arc[0]))
    return max(math.ceil(share - 1e-9), 1)


def _rounds(ask: EdgeRequirements, stations: NDArray[np.int64], placements: int) -> int:
    """Rounds that give the stretch its share of the strokes an edge takes."""
    strokes = value("bench_strokes_per_edge") * len(stations) / len(ask.held.arc_mm)
    return max(math.ceil(strokes / placements - 1e-9), 1)


def _runs_of(stations: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Stretches of neighbouring stations; gaps too short for a step of their own are gone over."""
    cut = np.flatnonzero(np.diff(stations) > SHORTEST) + 1
    return [np.arange(part[0], part[-1] + 1) for part in np.split(stations, cut)]


def plan_steps(asks: Sequence[EdgeRequirements], found: Arrangement, ridge_um: float) -> list[Step]:
    """The steps of an arrangement, in order of work."""
    return [step for piece in found.pieces for step in _steps(asks, found, piece, ridge_um)]


def _steps(
    asks: Sequence[EdgeRequirements], found: Arrangement, piece: Piece, ridge_um: float
) -> list[Step]:
    ask = asks[piece.edge]
    elevation, roll = ask.held.elevation_deg, ask.held.roll_deg
    error = np.zeros(STATIONS)
    if piece.served == Tool.HOLDER:
        setting = float(found.settings_deg[piece.run])
        at = setting_at(ask.edge, setting, stations=STATIONS)
        elevation, roll = np.full(STATIONS, at.elevation_deg), at.roll_deg
        error = _largest_error(ask, setting)
    steps = []
    for stretch in _runs_of(piece.stations):
        mine = np.intersect1d(stretch, piece.stations, assume_unique=True)
        count = placements_over(ask, stretch, ridge_um)
        steps.append(
            Step(
                ask=ask,
                run=piece.run,
                served=piece.served,
                stations=stretch,
                elevation_deg=elevation[stretch],
                roll_deg=roll[stretch],
                error_deg=float(error[mine].max()),
                placements=count,
                rounds=_rounds(ask, stretch, count),
            )
        )
    return steps


def _largest_error(ask: EdgeRequirements, setting_deg: float) -> FloatArray:
    """Largest size of the angle error at each station (S,): it lies at an end of the play."""
    ends = (setting_deg - ask.setting_error_deg, setting_deg + ask.setting_error_deg)
    errors = [np.abs(held_errors(ask.edge, end, ask.held.arc_mm)) for end in ends]
    return np.maximum(*errors)
