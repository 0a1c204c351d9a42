"""From the requirements of edges to runs of work: which setting serves which stretch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.clinic.bench.requirements import EdgeRequirements, Tool
from edgekit.clinic.bench.settings import FewestSettings, SettingRange, fewest_settings, order_tray
from edgekit.record import Record


class Piece(NamedTuple):
    """Stations of one edge that are served together, in run `run` (−1: without the holder)."""

    edge: int
    run: int
    tool: Tool
    stations: NDArray[np.int64]


class Arrangement(Record):
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
    min_settings : int
        The fewest settings of any plan that serves the same stations, however it cuts the edges.
    """

    settings_deg: FloatArray
    windows_deg: FloatArray
    pieces: tuple[Piece, ...]
    fewest: FewestSettings
    witness_edges: NDArray[np.int64]
    min_settings: int


def arrange(needs: Sequence[EdgeRequirements], setting_range: SettingRange) -> Arrangement:
    """Runs with the fewest changes of setting, and the pieces of each."""
    windows = np.concatenate([*(need.common_deg for need in needs), np.empty((0, 2))])
    edges = np.repeat(np.arange(len(needs)), [len(need.groups) for need in needs])
    groups = [group for need in needs for group in need.groups]
    fewest = fewest_settings(windows)
    urgent = np.array([need.urgent for need in needs], dtype=bool)
    tray = order_tray(windows, urgent=urgent[edges], setting_range=setting_range)
    runs = [windows[tray.order[tray.run == run]] for run in np.unique(tray.run)]
    common = np.array([(part[:, 0].max(), part[:, 1].min()) for part in runs]).reshape(-1, 2)
    settings = np.zeros(len(runs))
    settings[tray.run] = tray.settings_deg
    pieces = [
        Piece(int(edges[item]), int(run), Tool.HOLDER, groups[item])
        for item, run in zip(tray.order, tray.run, strict=True)
    ]
    pieces += [
        Piece(at, -1, tool, np.flatnonzero(need.tools == tool))
        for at, need in enumerate(needs)
        for tool in (Tool.HAND, Tool.ROD)
        if (need.tools == tool).any()
    ]
    stations = [need.windows_deg[need.tools == Tool.HOLDER] for need in needs]
    uncut = fewest_settings(np.concatenate([*stations, np.empty((0, 2))]))
    return Arrangement(
        settings_deg=settings if setting_range.step_deg > 0 else _rounded(settings, common),
        windows_deg=common,
        pieces=tuple(_in_order(pieces, urgent)),
        fewest=fewest,
        witness_edges=edges[fewest.witness_index],
        min_settings=len(uncut.settings_deg),
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
        key=lambda p: (not urgent[p.edge], p.tool, p.run, p.edge, int(p.stations[0])),
    )
