"""Random numbers of a run, drawn in one fixed order, so that methods can share them.

Each run has its own generator. It first gives what a person and an instrument keep, then a block for
every session. The block's size is stated by the caller, so two methods that draw blocks of one size
meet the same hands on the same day: common random numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from edgekit.checks import FloatArray

__all__ = ["KEPT", "PATCHES", "Kept", "SessionDraws", "draw_kept", "draw_session"]

PATCHES = 16  # independent patches of dulling along one edge
TERMS = 4  # tilt, swing, position, advance


class Kept(NamedTuple):
    """Unit normals that last for a whole run.

    ``hand`` (R, 4): the person's own tilt, swing, position and advance; the others (R,): how much
    the person scatters, how much a stroke takes, how fast the edge dulls, how sharp it starts.
    """

    hand: FloatArray
    skill: FloatArray
    removal: FloatArray
    severity: FloatArray
    sharp_radius: FloatArray


KEPT = TERMS + 4


class SessionDraws(NamedTuple):
    """Draws of one session, for E edges and P seatings of the stone on each: ``phase`` (R, E)
    uniform; ``setup`` (R, 4), ``seatings`` (R, E, P, 4) and ``patches`` (R, E, 16) unit normals."""

    setup: FloatArray
    phase: FloatArray
    seatings: FloatArray
    patches: FloatArray


def draw_kept(rngs: Sequence[np.random.Generator]) -> Kept:
    """What the runs keep, one generator a run."""
    z = np.array([rng.standard_normal(KEPT) for rng in rngs])
    return Kept(z[:, :TERMS], *z[:, TERMS:].T)


def draw_session(rngs: Sequence[np.random.Generator], *, edges: int, seatings: int) -> SessionDraws:
    """One session's draws, one generator a run."""
    size = TERMS + edges * (PATCHES + seatings * TERMS)
    phase = np.array([rng.random(edges) for rng in rngs])
    z = np.array([rng.standard_normal(size) for rng in rngs])
    runs, cut = len(rngs), TERMS + edges * PATCHES
    return SessionDraws(
        setup=z[:, :TERMS],
        phase=phase,
        seatings=z[:, cut:].reshape(runs, edges, seatings, TERMS),
        patches=z[:, TERMS:cut].reshape(runs, edges, PATCHES),
    )
