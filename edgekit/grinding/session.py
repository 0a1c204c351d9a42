"""One resharpening of a blade, its result and how it ended; computed in `grinding.kernel`."""

import enum
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgekit.checks import FloatArray, Seed, instance, positive
from edgekit.display import html_table, html_text
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade
from edgekit.grinding.edge_state import EdgeState, GroundEdge
from edgekit.grinding.kernel import SessionRuns, aim_at, sharpen_runs
from edgekit.grinding.random_streams import RunStreams
from edgekit.grinding.recession_field import EdgeGrid
from edgekit.grinding.worn_blade import WornBlade
from edgekit.method.method import Method
from edgekit.record import Record
from edgekit.units import UM_PER_MM

__all__ = ["EdgeSession", "Session", "SessionOutcome", "check_parts", "sharpen"]

SHARPEN_STATIONS = 400
SHARPEN_DEPTHS = 16
ANGLE_ALARM_DEG = value("angle_alarm_deg")


class SessionOutcome(enum.StrEnum):
    """How a session ended, and what to do about it."""

    SHARP = "sharp"
    WRONG_ANGLE = (
        "sharp, but the internal angle is off by 20° or more: check the setting, or use "
        "settings_needed(edge) for an edge that one setting cannot follow."
    )
    NOT_SHARP = (
        "not sharp: the most strokes or the largest advance was reached. The edge was too dull for "
        "this stone, or the tilt keeps the stone off a part of it (see sharp along the edge): take "
        "a coarser stone, correct the setting, add placements or allow a larger advance."
    )


class EdgeSession(Record):
    """The result of a session on one edge.

    Attributes
    ----------
    arc_mm, recession_um, angle_deg : array (S,)
        Stations; how far the session moved the edge inward along the face; internal angle now.
    sharp : array (S,) of bool
        Where the edge is sharp.
    sharp_fraction : float
        Share of the edge that is sharp.
    land_um : array (S,)
        Width of the dull land that is left.
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
    land_um: FloatArray
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
        """One row per facet, heel to toe: ``from_mm, to_mm, width_um, seating, angle_deg,
        recession_um, ridge_um`` (seating -1: not ground; ridge: range of the recession)."""
        bounds = np.flatnonzero(np.diff(self.active, prepend=-2, append=-2))
        edge = np.concatenate([[0.0], np.cumsum(self.station_weights_mm)])[bounds]
        parts = [slice(*pair) for pair in pairwise(bounds)]
        return pd.DataFrame(
            {
                "from_mm": edge[:-1],
                "to_mm": edge[1:],
                "width_um": np.diff(edge) * UM_PER_MM,
                "seating": self.active[bounds[:-1]],
                "angle_deg": [self.angle_deg[part].mean() for part in parts],
                "recession_um": [self.recession_um[part].mean() for part in parts],
                "ridge_um": [np.ptp(self.recession_um[part]) for part in parts],
            }
        )


class Session(Record):
    """One resharpening of a blade.

    ``worn`` is the blade after it. ``edges`` maps names to `EdgeSession`; ``passes`` rounds over
    all placements; ``stone_strokes`` and ``seconds`` in all; ``steel_mg`` removed, of which a stone
    held without error at the angle of the present facet would have taken ``dullness_mg``, and
    ``overshoot_mg`` went after the edge was good; ``advance_um`` of the stone past first touch, the
    largest of the edges; ``angle_off_deg``, the largest deviation of an internal angle from the new
    blade's; ``status`` is "sharp" or says what is wrong and what to do.
    """

    method: Method
    worn: WornBlade
    edges: Mapping[str, EdgeSession]
    passes: int
    stone_strokes: float
    seconds: float
    steel_mg: float
    dullness_mg: float
    overshoot_mg: float
    advance_um: float
    angle_off_deg: float
    status: SessionOutcome

    def __repr__(self) -> str:
        edges = "; ".join(
            f"{name} loses {e.mean_recession_um:.1f} µm (deepest {e.deepest_recession_um:.1f})"
            for name, e in self.edges.items()
        )
        return f"{self.method.name}: {edges}; {self._summary}"

    @property
    def balance(self) -> str:
        """The steel as strokes times what one takes, and as width times what a micrometre of it
        holds."""
        strokes, steel = self.stone_strokes, self.steel_mg
        width = sum(edge.mean_recession_um for edge in self.edges.values())
        if not (strokes > 0 and width > 0):
            return f"{strokes:.0f} strokes, {steel:.2g} mg of steel"
        return (
            f"{strokes:.0f} strokes of {steel / strokes:.2g} mg = {steel:.2f} mg of steel = "
            f"{width:.1f} µm of {steel / width:.2g} mg"
        )

    @property
    def _summary(self) -> str:
        return f"{self.balance}; {self.seconds:.0f} s; {self.status}"

    def _repr_html_(self) -> str:
        rows = [
            (
                name,
                f"{e.mean_recession_um:.1f}",
                f"{e.deepest_recession_um:.1f}",
                f"{e.sharp_fraction:.0%}",
                f"{e.angle_deg.min():.1f} to {e.angle_deg.max():.1f}",
            )
            for name, e in self.edges.items()
        ]
        header = ("edge", "mean loss, µm", "deepest, µm", "sharp", "angle, °")
        return html_text(self._summary, bold=self.method.name) + html_table(header, rows)


def check_parts(blade: object, method: object, kinds: type | tuple[type, ...] = Method) -> None:
    """Refuse anything but a blade and a method."""
    instance("blade", blade, Blade, "Give a blade, such as patterns.universal_curette().")
    instance("method", method, kinds, "Give a method, such as methods.freehand().")


def sharpen(
    blade: Blade | WornBlade,
    method: Method,
    *,
    dull_radius_um: float | None = None,
    rng: RunStreams | Seed,
    stations: int = SHARPEN_STATIONS,
    depths: int = SHARPEN_DEPTHS,
) -> Session:
    """Sharpen an instrument once.

    Parameters
    ----------
    blade : Blade or WornBlade
        A worn blade keeps its own stations and depths.
    method : Method
    dull_radius_um : float, optional
        Radius of the evenly dulled edges of a new blade [µm]; a worn blade has its own.
    rng : Generator, seed of one, or `Life.streams`
        Source of the person's errors: a new person for each generator or seed.
    stations, depths : int
        Nodes along each edge and down the flank of a new blade.

    Returns
    -------
    Session
        With the blade after it in ``worn``.

    Raises
    ------
    BadArgument
        Not a blade, a method or a generator; a number outside its range; a new blade without a
        radius, and a worn one with.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> done = ek.sharpen(blade, ek.methods.held(ek.best_setting(blade.edges["left"])),
    ...                   dull_radius_um=4.0, rng=1)
    >>> done.status.value, done.worn.sessions
    ('sharp', 1)
    """
    instance("method", method, Method, "Give a method, such as methods.freehand().")
    before = _start(blade, dull_radius_um, stations, depths)
    grids, states = before.grids, before.states()
    effects, draws = RunStreams.of(rng).session(
        before.sessions, edges=len(grids), seatings=method.planes
    )
    done = sharpen_runs(
        grids,
        states,
        [aim_at(grid, method.guide, rolls=method.rolls) for grid in grids],
        method,
        effects=effects,
        draws=draws,
        turn=before.sessions,
        fresh_um=np.full(1, before.fresh_radius_um),
    )
    return _session(method, before, states, done)


def _session(
    method: Method, before: WornBlade, states: list[EdgeState], done: SessionRuns
) -> Session:
    """What is told of a session of one run; `states` are the edges' as it began."""
    grids, after = before.grids, [result.state for result in done.edges]
    off_deg = _angle_off_deg(grids, after)
    status = SessionOutcome.SHARP if off_deg < ANGLE_ALARM_DEG else SessionOutcome.WRONG_ANGLE
    return Session(
        method=method,
        worn=before.after(after, sessions=before.sessions + 1),
        edges={
            grid.name: _edge_session(grid, state, result)
            for grid, state, result in zip(grids, states, done.edges, strict=True)
        },
        passes=int(done.passes[0]),
        stone_strokes=float(done.strokes[0]),
        seconds=float(done.seconds[0]),
        steel_mg=float(done.steel_mg[0]),
        dullness_mg=float(done.dullness_mg[0]),
        overshoot_mg=float(done.overshoot_mg[0]),
        advance_um=float(max(result.advance[0] for result in done.edges)) * UM_PER_MM,
        angle_off_deg=off_deg,
        status=status if done.reached[0] else SessionOutcome.NOT_SHARP,
    )


def _angle_off_deg(grids: Sequence[EdgeGrid], states: Sequence[EdgeState]) -> float:
    """Largest departure [°] from a new blade's internal angle."""
    off = [
        np.abs(state.internal_angle_rad[0] - grid.angle_rad).max()
        for grid, state in zip(grids, states, strict=True)
    ]
    return float(np.degrees(max(off)))


def _start(
    blade: Blade | WornBlade, dull_radius_um: float | None, stations: int, depths: int
) -> WornBlade:
    """The blade before the session."""
    if isinstance(blade, WornBlade):
        if dull_radius_um is not None:
            raise BadArgument(
                "a worn blade has its own radius",
                dull_radius_um,
                "Leave dull_radius_um out.",
                argument="dull_radius_um",
            )
        return blade
    remedy = "Give a blade, such as patterns.universal_curette(), or a WornBlade."
    instance("blade", blade, Blade, remedy)
    if dull_radius_um is None:
        raise BadArgument(
            "a new blade needs dull_radius_um", None, "Give micrometres, or ek.use(blade, strokes)."
        )
    radius = positive("dull_radius_um", dull_radius_um, "Give the edge radius in micrometres.")
    return WornBlade.new(blade, radius_um=radius, stations=stations, depths=depths)


def _edge_session(grid: EdgeGrid, before: EdgeState, result: GroundEdge) -> EdgeSession:
    state, sharp = result.state, result.sharp[0]
    return EdgeSession(
        arc_mm=grid.arc_mm,
        recession_um=(state.at(grid) - before.at(grid))[0] * UM_PER_MM,
        angle_deg=np.degrees(state.internal_angle_rad[0]),
        sharp=sharp,
        sharp_fraction=float(result.sharp_fraction[0]),
        land_um=state.land_um[0],
        active=result.active[0],
        depth_mm=grid.depth_mm,
        inset_mm=state.inset_mm[:, 0],
        new_inset_mm=before.inset_mm[:, 0],
        station_weights_mm=grid.station_weights_mm,
        drop_mm=state.drop_mm[0],
    )
