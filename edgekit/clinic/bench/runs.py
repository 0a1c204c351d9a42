"""From what the edges ask to runs of work: which setting serves which stretch of which edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.clinic.bench.requirements import EdgeRequirements, Tool
from edgekit.clinic.bench.settings import FewestSettings, SettingRange, fewest_settings, order_tray

__all__ = ["Arrangement", "Piece", "arrange"]


class Piece(NamedTuple):
    """Stations of one edge that are served together, in run `run` (−1: without the holder)."""

    edge: int
    run: int
    served: Tool
    stations: NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Arrangement:
    """Runs of the holder and the pieces of work in order.

    Attributes
    ----------
    settings_deg, windows_deg : array (R,), (R, 2)
        Setting of each run in order of work, in as few decimals as its window allows, and the
        settings that would serve it as well.
    pieces : tuple of Piece
        In order of work: every urgent edge before every other.
    fewest : FewestSettings
        The fewest settings of the groups of all edges, urgency apart, with its witness.
    witness_edges : array (K,)
        Edge of each window of the witness.
    bound : int
        What no plan can go below that serves the same stations, however it cuts the edges.
    """

    settings_deg: FloatArray
    windows_deg: FloatArray
    pieces: tuple[Piece, ...]
    fewest: FewestSettings
    witness_edges: NDArray[np.int64]
    bound: int


def arrange(
    asks: Sequence[EdgeRequirements], urgent: NDArray[np.bool_], takes: SettingRange
) -> Arrangement:
    """Runs with the fewest changes of setting, and the pieces of each."""
    windows = np.concatenate([*(ask.common_deg for ask in asks), np.empty((0, 2))])
    owner = np.repeat(np.arange(len(asks)), [len(ask.groups) for ask in asks])
    groups = [group for ask in asks for group in ask.groups]
    fewest = fewest_settings(windows)
    tray = order_tray(windows, urgent=urgent[owner], holder=takes)
    runs = [windows[tray.order[tray.run == run]] for run in np.unique(tray.run)]
    common = np.array([(part[:, 0].max(), part[:, 1].min()) for part in runs]).reshape(-1, 2)
    settings = np.zeros(len(runs))
    settings[tray.run] = tray.settings_deg
    if takes.step_deg == 0:
        settings = _rounded(settings, common)
    pieces = [
        Piece(int(owner[item]), int(run), Tool.HOLDER, groups[item])
        for item, run in zip(tray.order, tray.run, strict=True)
    ]
    pieces += [
        Piece(at, -1, served, np.flatnonzero(ask.served == served))
        for at, ask in enumerate(asks)
        for served in (Tool.HAND, Tool.ROD)
        if (ask.served == served).any()
    ]
    stations = [ask.windows_deg[ask.served == Tool.HOLDER] for ask in asks]
    free = fewest_settings(np.concatenate([*stations, np.empty((0, 2))]))
    return Arrangement(
        settings_deg=settings,
        windows_deg=common,
        pieces=tuple(_in_order(pieces, urgent)),
        fewest=fewest,
        witness_edges=owner[fewest.witness_index],
        bound=len(free.settings_deg),
    )


def _rounded(settings_deg: FloatArray, windows_deg: FloatArray) -> FloatArray:
    """Settings as they are printed, in one to three decimals: the first that stay in the window."""
    settings = settings_deg.copy()
    for decimals in (3, 2, 1):
        short = np.round(settings_deg, decimals)
        inside = (windows_deg[:, 0] <= short) & (short <= windows_deg[:, 1])
        settings = np.where(inside, short, settings)
    return settings


def _in_order(pieces: list[Piece], urgent: NDArray[np.bool_]) -> list[Piece]:
    """Urgent work first; in it the runs of the holder, then what is done without it.

    The run that urgent and other work share is the last of the one and the first of the other, so
    work without the holder in between does not change its setting.
    """
    return sorted(
        pieces,
        key=lambda p: (not urgent[p.edge], p.served, p.run, p.edge, int(p.stations[0])),
    )
