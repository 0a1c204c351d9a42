"""One resharpening of a blade, and what it did; the work is done by `edgekit.grinding.kernel`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import FloatArray, instance, positive
from edgekit.geometry.blade import Blade
from edgekit.grinding.kernel import GroundEdge, SessionRuns, aim_at, new_state, sharpen_runs
from edgekit.grinding.random_streams import check_rng, draw_run_effects, draw_session
from edgekit.grinding.recession_field import EdgeGrid, prepare_edge
from edgekit.method.method import Method

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

__all__ = ["EdgeSession", "Session", "check_parts", "sharpen"]

UM_PER_MM = 1000.0
SHARPEN_STATIONS = 400
SHARPEN_DEPTHS = 16
ANGLE_ALARM_DEG = 20.0  # far outside any tolerance: the stone is set wrong, not held badly

STATUS = {
    True: "sharp",
    False: (
        "not sharp: the largest advance was reached. Part of the edge is out of reach of the "
        "planes (see sharp_fraction along the edge), or the tilt keeps the stone off the edge; "
        "add placements, correct the setting, or allow a larger advance."
    ),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class EdgeSession:
    """What a session did to one edge.

    Attributes
    ----------
    arc_mm, recession_um, angle_deg : array (S,)
        Stations; how far the edge moved inward along the face; internal angle now.
    sharp : array (S,) of bool
        Where the edge is sharp.
    sharp_fraction : float
        Share of the edge that is sharp.
    active : array (S,) of int
        The seating of the stone that formed the edge; -1 where none reached it.
    depth_mm, inset_mm : array (V, S)
        The lateral surface afterwards: inset at depths below the new blade's face.
    new_inset_mm : array (V, S)
        The same before the session.
    station_weights_mm : array (S,)
        Length of edge that each station stands for.
    drop_mm : array (S,)
        How far the face lies below the new one.
    """

    arc_mm: FloatArray
    recession_um: FloatArray
    angle_deg: FloatArray
    sharp: NDArray[np.bool_]
    sharp_fraction: float
    active: NDArray[np.int_]
    depth_mm: FloatArray
    inset_mm: FloatArray
    new_inset_mm: FloatArray
    station_weights_mm: FloatArray
    drop_mm: FloatArray

    @property
    def mean_recession_um(self) -> float:
        """Mean recession along the edge."""
        return float(np.average(self.recession_um, weights=self.station_weights_mm))

    @property
    def deepest_recession_um(self) -> float:
        """Deepest recession anywhere on the edge."""
        return float(self.recession_um.max())

    @property
    def facets(self) -> pd.DataFrame:
        """One row a facet, heel to toe: ``from_mm, to_mm, width_um, seating, angle_deg,
        recession_um, ridge_um`` (seating -1: not ground; ridge: range of the recession)."""
        import pandas as pd

        ends = np.flatnonzero(np.diff(self.active)) + 1
        starts = np.concatenate([[0], ends])
        stops = np.concatenate([ends, [len(self.active)]])
        edge = np.concatenate([[0.0], np.cumsum(self.station_weights_mm)])
        rows = []
        for a, b in zip(starts, stops, strict=True):
            recession = self.recession_um[a:b]
            rows.append(
                {
                    "from_mm": edge[a],
                    "to_mm": edge[b],
                    "width_um": (edge[b] - edge[a]) * UM_PER_MM,
                    "seating": self.active[a],
                    "angle_deg": float(self.angle_deg[a:b].mean()),
                    "recession_um": float(recession.mean()),
                    "ridge_um": float(np.ptp(recession)),
                }
            )
        return pd.DataFrame(rows)


@dataclass(frozen=True, kw_only=True, eq=False)
class Session:
    """One resharpening of a blade.

    ``edges`` maps names to `EdgeSession`; ``passes`` rounds over all placements; ``seconds``;
    ``steel_mg`` removed; ``advance_um`` of the stone past first touch, the largest of the edges;
    ``status`` is "sharp" or says what is wrong and what to do.
    """

    method: Method
    edges: dict[str, EdgeSession]
    passes: int
    seconds: float
    steel_mg: float
    advance_um: float
    status: str

    def __repr__(self) -> str:
        edges = "; ".join(
            f"{name} loses {e.mean_recession_um:.1f} µm (deepest {e.deepest_recession_um:.1f})"
            for name, e in self.edges.items()
        )
        return (
            f"{self.method.name}: {edges}; {self.passes} passes, {self.seconds:.0f} s, "
            f"{self.steel_mg:.2f} mg; {self.status}"
        )

    def _repr_html_(self) -> str:
        from html import escape

        rows = "".join(
            f"<tr><td>{escape(name)}</td><td>{e.mean_recession_um:.1f}</td>"
            f"<td>{e.deepest_recession_um:.1f}</td><td>{e.sharp_fraction:.0%}</td>"
            f"<td>{e.angle_deg.min():.1f} to {e.angle_deg.max():.1f}</td></tr>"
            for name, e in self.edges.items()
        )
        return (
            f"<b>{escape(self.method.name)}</b>: {self.passes} passes, {self.seconds:.0f} s, "
            f"{self.steel_mg:.2f} mg of steel; {escape(self.status)}<table><tr><th>edge</th>"
            "<th>mean loss, µm</th><th>deepest, µm</th><th>sharp</th><th>angle, °</th></tr>"
            f"{rows}</table>"
        )


def check_parts(blade: object, method: object, kinds: type | tuple[type, ...] = Method) -> None:
    """Refuse anything but a blade and a method."""
    instance("blade", blade, Blade, "Give a blade, such as patterns.universal_curette().")
    instance("method", method, kinds, "Give a method, such as methods.freehand().")


def sharpen(
    blade: Blade,
    method: Method,
    *,
    dull_radius_um: float,
    rng: np.random.Generator,
    stations: int = SHARPEN_STATIONS,
    depths: int = SHARPEN_DEPTHS,
) -> Session:
    """Sharpen a new blade whose edges are evenly rounded.

    Parameters
    ----------
    blade : Blade
    method : Method
    dull_radius_um : float
        Radius of the dull edges [µm].
    rng : numpy.random.Generator
        Source of the person's errors.
    stations, depths : int
        Nodes along each edge and down the flank.

    Returns
    -------
    Session

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> done = ek.sharpen(blade, ek.methods.held(ek.best_setting(blade.edges["left"])),
    ...                   dull_radius_um=4.0, rng=np.random.default_rng(1))
    >>> done.status, bool(done.edges["left"].mean_recession_um > 5.2)
    ('sharp', True)
    """
    check_parts(blade, method)
    check_rng(rng)
    radius = positive("dull_radius_um", dull_radius_um, "Give the edge radius in micrometres.")
    grids = [prepare_edge(blade, name, stations=stations, depths=depths) for name in blade.edges]
    states = [new_state(grid, 1) for grid in grids]
    for state in states:
        state.radius_um = np.full_like(state.radius_um, radius)
    kept = draw_run_effects([rng])
    draws = draw_session([rng], edges=len(grids), seatings=method.planes)
    aims = [aim_at(grid, method) for grid in grids]
    done = sharpen_runs(
        grids, states, aims, method, kept=kept, draws=draws, turn=0, fresh_um=np.zeros(1)
    )
    return Session(
        method=method,
        edges={
            grid.name: _edge_session(grid, result)
            for grid, result in zip(grids, done.edges, strict=True)
        },
        passes=int(done.passes[0]),
        seconds=float(done.seconds[0]),
        steel_mg=float(done.steel_mg[0]),
        advance_um=float(max(result.advance[0] for result in done.edges)) * UM_PER_MM,
        status=_status(grids, done),
    )


def _status(grids: Sequence[EdgeGrid], done: SessionRuns) -> str:
    """How the session ended, in words; an edge can be sharp at the wrong angle."""
    ended = STATUS[bool(done.reached[0])]
    off = max(
        float(np.abs(result.state.internal_angle_rad[0] - grid.angle_rad).max())
        for grid, result in zip(grids, done.edges, strict=True)
    )
    if not done.reached[0] or np.degrees(off) < ANGLE_ALARM_DEG:
        return ended
    return (
        f"{ended}, but the internal angle is off by up to {np.degrees(off):.0f}°: "
        "check the setting, or use settings_needed(edge) for an edge that one cannot follow."
    )


def _edge_session(grid: EdgeGrid, result: GroundEdge) -> EdgeSession:
    state, sharp = result.state, result.sharp[0]
    return EdgeSession(
        arc_mm=grid.arc_mm,
        recession_um=state.at(grid)[0] * UM_PER_MM,
        angle_deg=np.degrees(state.internal_angle_rad[0]),
        sharp=sharp,
        sharp_fraction=float(grid.station_weights_mm @ sharp / grid.station_weights_mm.sum()),
        active=result.active[0],
        depth_mm=grid.depth_mm,
        inset_mm=state.inset_mm[:, 0],
        new_inset_mm=grid.inset_mm,
        station_weights_mm=grid.station_weights_mm,
        drop_mm=state.drop_mm[0],
    )
