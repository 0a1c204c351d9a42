"""Stations along an edge in one picture, and how far other outlines lie inside it there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from edgekit.checks import FloatArray
from edgekit.digitising.pictures.outlines.blade_outline import Outline
from edgekit.digitising.pictures.outlines.parts import Side
from edgekit.digitising.pictures.profiles import nearest
from edgekit.digitising.pictures.registering import CORRELATED, Registration
from edgekit.errors import Cannot

STATION_MM = 0.05  # between stations: half a dozen points of the outline each
HEEL_OUT_MM = 0.1  # where grinding leaves a step
MIN_SEEN = 0.5  # of the stations


class EdgeStations(NamedTuple):
    """Stations along the edge as it was before: arc (S,) [mm], and the points of each.

    ``along`` (K, 2): unit tangents of the edge's own points, heel to toe.
    """

    arc: FloatArray
    line: Outline
    own: NDArray[np.intp]
    own_arc: FloatArray
    along: FloatArray
    tree: cKDTree

    @classmethod
    def of(cls, line: Outline, side: Side) -> EdgeStations:
        own = line.parts.side(side)
        past = line.parts.past_heel_mm[0 if side is Side.LEFT else 1]
        arc = np.abs(line.arc_mm[own] - line.arc_mm[own[0]]) + past
        count = int((arc[-1] - HEEL_OUT_MM) / STATION_MM)
        stations = np.asarray(HEEL_OUT_MM + STATION_MM * (np.arange(count) + 0.5), dtype=float)
        if len(stations) < 4:
            raise Cannot("the edge is too short", float(arc[-1]), "Check the heel.")
        along = line.normals[own][:, ::-1] * [1, -1]
        along = along * np.sign((along * np.gradient(line.points_mm[own], axis=0)).sum())
        return cls(stations, line, own, arc, along, cKDTree(line.points_mm[own]))

    def read(self, line: Outline, fit: Registration) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Mean inward offset (S,) [mm] of another outline about each station, and if any (S,)."""
        points = fit.move(line.points_mm[line.quality == 0])
        distance, near = nearest(self.tree, points)
        fits = distance < 0.3
        k = self.own[near[fits]]
        apart = points[fits] - self.line.points_mm[k]
        inward = -(apart * self.line.normals[k]).sum(axis=1)
        beside = (apart * self.along[near[fits]]).sum(axis=1)
        keep = np.abs(beside) < 0.01  # square to the edge: not beyond its ends
        at = self.own_arc[near[fits]] + beside
        which = np.rint((at - self.arc[0]) / STATION_MM).astype(int)
        keep &= (which >= 0) & (which < len(self.arc))
        count, total, place = (
            np.bincount(which[keep], weight, len(self.arc))
            for weight in (None, inward[keep], at[keep])
        )
        seen = count > 0
        if seen.mean() < MIN_SEEN:
            raise Cannot(
                "an outline shows no good edge at most stations",
                f"{1 - seen.mean():.0%}",
                "Show the whole edge in every picture, free of glare and dust.",
            )
        # points stand unevenly about a station, and a facet's flank is steep
        return np.interp(self.arc, place[seen] / count[seen], total[seen] / count[seen]), seen

    def read_all(
        self,
        befores: Sequence[Outline],
        afters: Sequence[Outline],
        fits: Sequence[Registration],
    ) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
        """Offsets (mounts, S) [mm] before and after, and where all outlines are good (S,)."""
        others = (*befores[1:], *afters)
        readings = [self.read(line, fit) for line, fit in zip(others, fits, strict=True)]
        offsets = [np.zeros(len(self.arc)), *(offset for offset, _ in readings)]
        seen = np.all([self.good(), *(good for _, good in readings)], axis=0)
        return np.stack(offsets[: len(befores)]), np.stack(offsets[len(befores) :]), seen

    def good(self) -> NDArray[np.bool_]:
        """Whether the first outline is good about each station (S,)."""
        bad = self.own_arc[self.line.quality[self.own] != 0]
        apart = np.abs(self.arc[:, None] - bad[None])
        return np.asarray((apart > STATION_MM / 2).all(axis=1))

    def at(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Place, normal (S, 2) and noise of one picture's mean (S,) [µm] at the stations."""
        k = self.own[np.searchsorted(self.own_arc, self.arc)]
        points = STATION_MM / float(np.median(np.abs(np.diff(self.own_arc))))
        noise = self.line.sd_um[k] / np.sqrt(max(points / CORRELATED, 1.0))
        return self.line.points_mm[k], self.line.normals[k], noise
