"""A worn blade: a blade, and what use and grinding have made of each of its edges."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Self

import numpy as np
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.apex import void_factor
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade
from edgekit.grinding.edge_state import EdgeState, new_state
from edgekit.grinding.recession_field import THIRDS, EdgeGrid, cleared, inset_at, prepare_edge
from edgekit.record import Record, read_only
from edgekit.units import UM_PER_MM

if TYPE_CHECKING:
    import pandas as pd

    from edgekit.digitising.pictures.loss import WidthLoss

__all__ = ["WornBlade", "WornEdge"]

STATIONS = 64
DEPTHS = 12
SAME_LENGTH = 0.1  # share by which the edge pictured may differ from the blade's


class WornEdge(Record):
    """One edge of a worn blade, station by station.

    Attributes
    ----------
    arc_mm : array (S,)
        Stations, heel to toe, along the new edge [mm].
    depth_mm, inset_mm : array (V, S)
        The lateral surface: inset from the new edge at depths below the new face [mm].
    angle_rad : array (S,)
        Between the new blade's face and the lateral surface at the edge.
    lean_rad, drop_mm : array (S,)
        Slope of the face against the new one, and how far it lies below it [mm].
    radius_um, land_um : array (S,)
        Of the rounded apex, and the width of the dull land [µm].
    """

    arc_mm: FloatArray
    depth_mm: FloatArray
    inset_mm: FloatArray
    angle_rad: FloatArray
    lean_rad: FloatArray
    drop_mm: FloatArray
    radius_um: FloatArray
    land_um: FloatArray


class WornBlade(Record):
    """A blade as use and grinding have left it; `ek.use` and `ek.sharpen` give the next.

    Attributes
    ----------
    blade : Blade
        The blade as it was new, or first met.
    edges : mapping of str to WornEdge
    fresh_radius_um : float
        Radius of a freshly ground edge of this instrument [µm].
    sessions : int
        Sessions so far.
    use_strokes : float
        Working strokes on each edge so far.

    Examples
    --------
    >>> import edgekit as ek
    >>> worn = ek.use(ek.patterns.area_specific_curette(), 45)
    >>> done = ek.sharpen(worn, ek.methods.freehand(), rng=1)
    >>> done.worn.sessions, bool(done.worn.width_mm < worn.width_mm)
    (1, True)
    """

    blade: Blade
    edges: Mapping[str, WornEdge]
    fresh_radius_um: float = value("sharp_radius_um")
    sessions: int = 0
    use_strokes: float = 0.0

    @classmethod
    def new(
        cls,
        blade: Blade,
        *,
        radius_um: float | None = None,
        fresh_radius_um: float = value("sharp_radius_um"),
        stations: int = STATIONS,
        depths: int = DEPTHS,
    ) -> Self:
        """A new blade: freshly ground, or evenly rounded to `radius_um`."""
        fresh = checks.at_least("fresh_radius_um", fresh_radius_um, 0.0, "Give micrometres.")
        radius = fresh if radius_um is None else radius_um
        radius = checks.at_least("radius_um", radius, 0.0, "Give the edge radius in micrometres.")
        grids = [
            prepare_edge(blade, name, stations=stations, depths=depths) for name in blade.edges
        ]
        states = [new_state(grid, 1) for grid in grids]
        for state in states:
            state.radius_um = np.full_like(state.radius_um, radius)
        return cls._from(blade, grids, states, fresh_radius_um=fresh)

    @classmethod
    def from_recession(
        cls,
        blade: Blade,
        recession_um: float | Mapping[str, ArrayLike],
        *,
        face_um: float = 0.0,
        stations: int = STATIONS,
        depths: int = DEPTHS,
    ) -> Self:
        """A blade whose edges have moved inward, ground parallel to their flanks.

        Parameters
        ----------
        blade : Blade
        recession_um : float or mapping of edge name to array
            Along the face [µm]: the same everywhere, or at evenly spaced stations of each edge
            named, heel to toe; an edge not named has lost nothing.
        face_um : float
            Depth gone from the face [µm].

        Raises
        ------
        EdgekitError
            For a recession below 0, and for names that are no edges of the blade.

        Examples
        --------
        >>> import edgekit as ek
        >>> worn = ek.WornBlade.from_recession(ek.patterns.universal_curette(), 43.0)
        >>> round(worn.width_mm, 3)
        0.774
        """
        checks.instance(
            "blade", blade, Blade, "Give a blade, such as patterns.universal_curette()."
        )
        given = _by_edge(blade, recession_um, stations)
        lowered = checks.at_least("face_um", face_um, 0.0, "Give micrometres.") / UM_PER_MM
        grids = [
            prepare_edge(blade, name, stations=stations, depths=depths) for name in blade.edges
        ]
        states = []
        for grid in grids:
            state, moved = new_state(grid, 1), given[grid.name][:, None] / UM_PER_MM
            flank = moved + (grid.depth_mm / np.tan(grid.angle_rad)).T
            field = np.where(moved > 0, np.maximum(flank, grid.inset_mm.T), grid.inset_mm.T)
            state.inset_mm = np.swapaxes(field.T[:, :, None], 1, 2)
            state.drop_mm = np.full_like(state.drop_mm, lowered)
            state.cleared_mm3 = cleared(grid, state.inset_mm)
            state.radius_um = np.full_like(state.radius_um, value("sharp_radius_um"))
            states.append(state)
        return cls._from(blade, grids, states)

    @classmethod
    def from_pictures(
        cls, blade: Blade, losses: Mapping[str, WidthLoss], *, sds: float = 0.0, **nodes: int
    ) -> Self:
        """A blade whose edges have lost what pictures before and after show.

        Errors of pose, datum and scale move neighbouring stations alike, so the uncertainty is
        carried by moving all of them: ``sds=-2`` and ``sds=2`` give the least and the most worn
        blade of an interval of about 95 %.

        Parameters
        ----------
        blade : Blade
            As it was in the pictures before, its width nominal.
        losses : mapping of edge name to WidthLoss
            Made by `pictures.width_loss`; an edge not named has lost nothing.
        sds : float
            Standard deviations, of each station's own, to add to its recession.
        **nodes : int
            ``stations`` and ``depths``, as in `from_recession`.

        Raises
        ------
        Cannot
            If an edge of the blade and the edge pictured differ in length by more than a tenth.
        BadArgument
            For what is no `WidthLoss`, and for names that are no edges of the blade.

        Notes
        -----
        A reading below 0 counts as 0. Where no recession is given, by the heel and where dust or
        the datum hides it, the nearest station stands in with 12 µm of standard deviation, which
        `sds` therefore moves furthest. Apexes are freshly sharpened, `sharp_radius_um` round.

        Examples
        --------
        >>> import edgekit as ek
        >>> P, folder = ek.pictures, "data_demo/pictures"
        >>> board = P.read_picture(f"{folder}/board.png", response=P.SRGB)
        >>> scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
        >>> heel = P.EdgeLength(side=P.Side.LEFT, length_mm=6.26)
        >>> before, after = (
        ...     P.outline(P.read_picture(f"{folder}/FH-03-AS1_{day}_a.png", response=P.SRGB),
        ...               scale, heel=heel) for day in ("2026-03-02", "2026-03-09"))
        >>> loss = P.width_loss([before], [after], datum=P.Datum.UNUSED_EDGE_AND_SHANK,
        ...                     side=P.Side.LEFT, mount=P.Mount(distance_mm=120))
        >>> blade = ek.read_blade("data_demo/traces/FH-03-AS1.toml")
        >>> low, best, high = (ek.WornBlade.from_pictures(blade, {"used": loss}, sds=k)
        ...                    for k in (-2, 0, 2))
        >>> bool(low.width_mm > best.width_mm > high.width_mm)
        True
        """
        from edgekit.digitising.pictures.loss import WidthLoss

        remedy = "Give {'used': loss}, each loss from ek.pictures.width_loss."
        checks.instance("blade", blade, Blade, "Give a blade, such as ek.read_blade(...).")
        checks.instance("losses", losses, Mapping, remedy)
        shift, recession = checks.finite("sds", sds), {}
        for name, loss in losses.items():
            checks.instance(f"losses[{name!r}]", loss, WidthLoss, remedy)
            if name not in blade.edges:
                raise BadArgument(
                    "no such edge", name, f"Choose from {list(blade.edges)}.", argument="losses"
                )
            edge = blade.edges[name]
            if not abs(loss.length_mm / edge.length_mm - 1) < SAME_LENGTH:
                raise Cannot(
                    "the pictures show an edge of another length than the blade's",
                    (loss.length_mm, edge.length_mm),
                    "Give the blade that was pictured; check the heel of its outlines.",
                )
            seen, sd = loss.recession_on(edge, nodes.get("stations", STATIONS))
            recession[name] = np.maximum(seen + shift * sd, 0.0)
        return cls.from_recession(blade, recession, **nodes)

    @classmethod
    def from_width(cls, blade: Blade, width_mm: float, **nodes: int) -> Self:
        """A blade whose edges, alike, have lost what a caliper says its width has lost.

        Examples
        --------
        >>> import edgekit as ek
        >>> blade = ek.patterns.universal_curette()
        >>> worn = ek.WornBlade.from_width(blade, blade.width_mm - 0.086)
        >>> round(float(worn.recession_um("left").mean()), 1)
        43.0
        """
        width = checks.between("width_mm", width_mm, 0.0, blade.width_mm * (1 + 1e-9))
        lost = max(blade.width_mm - width, 0.0) * UM_PER_MM
        return cls.from_recession(blade, lost / len(blade.edges), **nodes)

    @classmethod
    def _from(
        cls,
        blade: Blade,
        grids: list[EdgeGrid],
        states: list[EdgeState],
        *,
        fresh_radius_um: float = value("sharp_radius_um"),
        sessions: int = 0,
        use_strokes: float = 0.0,
    ) -> Self:
        """The blade of one run's arrays, R = 1."""
        edges = {
            grid.name: WornEdge(
                arc_mm=grid.arc_mm,
                depth_mm=grid.depth_mm,
                inset_mm=state.inset_mm[:, 0],
                angle_rad=state.angle_rad[0],
                lean_rad=state.lean_rad[0],
                drop_mm=state.drop_mm[0],
                radius_um=state.radius_um[0],
                land_um=state.land_um[0],
            )
            for grid, state in zip(grids, states, strict=True)
        }
        made = cls(
            blade=blade,
            edges=edges,
            fresh_radius_um=fresh_radius_um,
            sessions=sessions,
            use_strokes=use_strokes,
        )
        made.__dict__["grids"] = tuple(grids)  # what `grids` would prepare again
        return made

    @classmethod
    def of(cls, blade: Blade | WornBlade, **nodes: int) -> WornBlade:
        """A worn blade as it is, or a new blade freshly ground."""
        if isinstance(blade, WornBlade):
            return blade
        remedy = "Give a blade, such as patterns.universal_curette(), or a WornBlade."
        checks.instance("blade", blade, Blade, remedy)
        return cls.new(blade, **nodes)

    def after(
        self,
        states: list[EdgeState],
        *,
        sessions: int | None = None,
        use_strokes: float | None = None,
    ) -> WornBlade:
        """This blade with its edges in other states, R = 1, and other counts."""
        return self._from(
            self.blade,
            list(self.grids),
            states,
            fresh_radius_um=self.fresh_radius_um,
            sessions=self.sessions if sessions is None else sessions,
            use_strokes=self.use_strokes if use_strokes is None else use_strokes,
        )

    @cached_property
    def grids(self) -> tuple[EdgeGrid, ...]:
        """Geometry of the new edges at this blade's own stations and depths."""
        sizes = {name: edge.inset_mm.shape for name, edge in self.edges.items()}
        return tuple(
            prepare_edge(self.blade, name, stations=stations, depths=depths)
            for name, (depths, stations) in sizes.items()
        )

    def states(self) -> list[EdgeState]:
        """The arrays that grinding works on, R = 1."""
        states = []
        for grid, edge in zip(self.grids, self.edges.values(), strict=True):
            field = np.swapaxes(np.array(edge.inset_mm)[:, :, None], 1, 2)
            row = {
                name: np.array(getattr(edge, name))[:, None].T
                for name in ("angle_rad", "lean_rad", "drop_mm", "radius_um", "land_um")
            }
            states.append(EdgeState(inset_mm=field, cleared_mm3=cleared(grid, field), **row))
        return states

    def _edge(self, edge: str) -> WornEdge:
        given: object = edge
        if not isinstance(given, str) or given not in self.edges:
            raise BadArgument(
                "no such edge", edge, f"Choose from {list(self.edges)}.", argument="edge"
            )
        return self.edges[edge]

    def recession_um(self, edge: str) -> FloatArray:
        """How far (S,) an edge has moved inward along the face [µm]."""
        self._edge(edge)
        grid = self.grids[list(self.edges).index(edge)]
        return read_only(self._inset_mm(grid, self.edges[edge]) * UM_PER_MM)

    @staticmethod
    def _inset_mm(grid: EdgeGrid, edge: WornEdge) -> FloatArray:
        return np.asarray(inset_at(grid, edge.inset_mm[:, None, :], edge.drop_mm[None])[0])

    def internal_angle_deg(self, edge: str) -> FloatArray:
        """Internal angle (S,) at the edge as ground [°]."""
        worn = self._edge(edge)
        return read_only(np.degrees(worn.angle_rad - worn.lean_rad))

    def radius_um(self, edge: str) -> FloatArray:
        """Radius (S,) of the apex [µm]: of the circle that has taken as much steel."""
        return self._edge(edge).radius_um

    def land_um(self, edge: str) -> FloatArray:
        """Width (S,) of the dull land [µm]."""
        return self._edge(edge).land_um

    def outline_mm(self, edge: str, arc_mm: float) -> FloatArray:
        """Flank (V, 2) in section at an arc length of the new edge: inset and depth [mm],
        downwards.
        """
        worn = self._edge(edge)
        length = float(worn.arc_mm[-1])
        at = checks.at_least("arc_mm", arc_mm, 0.0)
        if not at <= length:
            raise BadArgument(
                "arc_mm lies beyond the edge",
                arc_mm,
                f"Give up to {length:.3g}.",
                argument="arc_mm",
            )
        rows = zip(worn.inset_mm, worn.depth_mm, strict=True)
        drop = np.interp(at, worn.arc_mm, worn.drop_mm)
        points = np.array([[np.interp(at, worn.arc_mm, part) for part in row] for row in rows])
        below = points[points[:, 1] > drop]
        edge_point = [np.interp(drop, points[:, 1], points[:, 0]), drop]
        return read_only(np.concatenate([[edge_point], below]))

    def _across(self) -> list[tuple[EdgeGrid, FloatArray]]:
        """What takes from the width: how far (S,) [mm] each edge has moved inward, and the unused
        one, which is never ground but moves in as the face is lowered.
        """
        edges = list(self.edges.values())
        across = [(g, self._inset_mm(g, e)) for g, e in zip(self.grids, edges, strict=True)]
        if self.blade.unused is not None and edges[0].drop_mm.any():
            grid = self.grids[0]
            across.append((grid, edges[0].drop_mm / np.tan(grid.angle_rad)))
        return across

    @property
    def width_mm(self) -> float:
        """Width of the face [mm]: the new one less the mean recession along the sides of its
        edges.
        """
        lost = sum(float(grid.side_weights @ inset) for grid, inset in self._across())
        return self.blade.width_mm - lost

    def thirds(self) -> pd.DataFrame:
        """Means over the heel, middle and toe thirds of each edge.

        Returns
        -------
        DataFrame
            One row per third of an edge: ``edge, third``; along the whole third, toe's end
            included, ``recession_um, radius_um, land_um``, ``missing_um2`` the section's area
            between the rounded apex and a sharp one, ``internal_angle_deg``; along the third of
            the sides ``width_mm`` of the face, both edges' losses off it.

        Examples
        --------
        >>> import edgekit as ek
        >>> worn = ek.use(ek.patterns.area_specific_curette(), 45)
        >>> worn.thirds()[["third", "radius_um"]].round(1).to_numpy().tolist()
        [['heel', 1.9], ['middle', 2.2], ['toe', 3.7]]
        """
        import pandas as pd

        across = self._across()
        lost = sum(grid.side_thirds @ inset for grid, inset in across)
        rows = []
        for (grid, inset), (name, edge) in zip(across, self.edges.items(), strict=False):
            angle = edge.angle_rad - edge.lean_rad
            means = {
                "recession_um": inset * UM_PER_MM,
                "radius_um": edge.radius_um,
                "land_um": edge.land_um,
                "missing_um2": void_factor(angle) * edge.radius_um**2,
                "internal_angle_deg": np.degrees(angle),
            }
            columns = {what: grid.thirds @ values for what, values in means.items()}
            columns["width_mm"] = grid.side_thirds @ (2 * grid.half_width_mm) - lost
            rows.append(pd.DataFrame({"edge": name, "third": THIRDS, **columns}))
        return pd.concat(rows, ignore_index=True)

    @property
    def steel_lost_mg(self) -> float:
        """Steel gone from the lateral surfaces since new [mg]."""
        lost = 0.0
        for grid, state in zip(self.grids, self.states(), strict=True):
            new = cleared(grid, np.array(grid.inset_mm)[:, None, :])
            lost += float((state.cleared_mm3 - new)[0])
        return lost * value("steel_density_mg_per_mm3")

    def __repr__(self) -> str:
        edges = "; ".join(
            f"{name}: recession {self.recession_um(name).mean():.1f} µm, angle "
            f"{self.internal_angle_deg(name).mean():.1f}°, radius {edge.radius_um.mean():.2f} µm"
            for name, edge in self.edges.items()
        )
        return (
            f"{self.blade.name} after {self.sessions} sessions and {self.use_strokes:g} strokes of "
            f"use: {self.width_mm:.3f} mm wide; {edges}"
        )


def _by_edge(
    blade: Blade, recession_um: float | Mapping[str, ArrayLike], stations: int
) -> dict[str, FloatArray]:
    """Recession (S,) [µm] of each edge."""
    if not isinstance(recession_um, Mapping):
        remedy = "Give micrometres, or a mapping from edge names to arrays."
        everywhere = checks.at_least("recession_um", recession_um, 0.0, remedy)
        return {name: np.full(stations, everywhere) for name in blade.edges}
    for name in recession_um:
        if name not in blade.edges:
            raise BadArgument("no such edge", name, f"Choose from {list(blade.edges)}.")
    at, by_edge = np.linspace(0, 1, stations), {}
    for name in blade.edges:
        given = checks.array_between(
            f"recession of {name}", recession_um.get(name, 0.0), 0, np.inf, ends=True
        )
        values = np.atleast_1d(given)
        if values.ndim != 1 or not len(values):
            raise BadArgument("recession must be one row per edge", values.shape, "Flatten it.")
        by_edge[name] = np.interp(at, np.linspace(0, 1, len(values)), values)
    return by_edge
