"""Strength of a worn blade: bending stress under a load at the toe, compared with a new blade."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from edgekit.bending.beam import Direction, Wear, bending_model, end_inset_mm, joined, shortened_mm
from edgekit.checks import FloatArray, array_between, at_least, instance, positive
from edgekit.display import html_text
from edgekit.errors import EdgekitError
from edgekit.geometry.blade import Blade
from edgekit.grinding.recession_field import EdgeGrid, inset_at, prepare_edge
from edgekit.grinding.session import Session
from edgekit.life.life import Life
from edgekit.record import Record
from edgekit.units import UM_PER_MM

__all__ = ["AtRisk", "Strength", "strength"]

STATIONS = 200
DEPTHS = 32
ROWS = 48  # of a section's polygon on each side: its area is then good to 2e-4 for a round back

Recession = float | Mapping[str, ArrayLike] | Session | Life | None


@dataclass(frozen=True, kw_only=True)
class AtRisk:
    """The most stressed section: arc length from the heel on the first edge, distance from the load
    [mm], the critical load direction, and its stress [MPa]."""

    arc_mm: float
    lever_mm: float
    direction: Direction
    stress_mpa: float

    def __str__(self) -> str:
        return (
            f"{self.arc_mm:.1f} mm from the heel ({self.lever_mm:.1f} mm from the load), "
            f"{self.stress_mpa:.0f} MPa, load {self.direction.value}"
        )


class Strength(Record):
    """Bending of a blade by a load at its toe, clamped at the heel.

    Arrays end in ``(2, S)``: the two `Direction` members in order, then the sections. For a life
    its N sessions come first: ``(N, 2, S)``.

    Attributes
    ----------
    arc_mm, lever_mm : array (S,)
        Where the sections are: along the first edge, and behind the load.
    stress_mpa : array (..., 2, S)
        Largest bending stress in each section.
    new_mpa : array (2, S)
        The same of the blade as it was given.
    stress_ratio : array (..., 2, S)
        Stress over that of the new blade.
    strength_left : array (...)
        Load that brings the most stressed section to the stress the new blade's reached, over the
        new blade's load; the worse direction.
    section_mm : array (..., 2J, 2)
        Outline of the middle section: across the face from the new near edge, and out of it.
    new_section_mm : array (2J, 2)
        The same when new.
    """

    blade: Blade
    load_n: float
    load_from_toe_mm: float
    arc_mm: FloatArray
    lever_mm: FloatArray
    stress_mpa: FloatArray
    new_mpa: FloatArray
    stress_ratio: FloatArray
    strength_left: FloatArray
    section_mm: FloatArray
    new_section_mm: FloatArray

    @property
    def most_at_risk(self) -> AtRisk:
        """The most stressed section; of a life, after its last session."""
        last = self.stress_mpa.reshape(-1, *self.new_mpa.shape)[-1]
        direction, station = np.unravel_index(int(np.argmax(last)), last.shape)
        return AtRisk(
            arc_mm=float(self.arc_mm[station]),
            lever_mm=float(self.lever_mm[station]),
            direction=list(Direction)[int(direction)],
            stress_mpa=float(last[direction, station]),
        )

    @property
    def table(self) -> pd.DataFrame:
        """One row per session, direction and section: ``session, arc_mm, lever_mm, direction,
        stress_mpa, stress_ratio``."""
        size, state = self.stress_mpa.size, self.new_mpa.size
        directions = np.repeat([direction.value for direction in Direction], len(self.arc_mm))
        return pd.DataFrame(
            {
                "session": np.repeat(np.arange(size // state), state),
                "arc_mm": np.resize(self.arc_mm, size),
                "lever_mm": np.resize(self.lever_mm, size),
                "direction": np.resize(directions, size),
                "stress_mpa": self.stress_mpa.ravel(),
                "stress_ratio": self.stress_ratio.ravel(),
            }
        )

    def __repr__(self) -> str:
        left = float(np.atleast_1d(self.strength_left)[-1])
        return (
            f"{self.blade.name}, {self.load_n:g} N {self.load_from_toe_mm:g} mm from the toe: "
            f"{left:.0%} of the new strength left; most at risk {self.most_at_risk}. "
            "Bending only; a model result is an estimate."
        )

    def _repr_html_(self) -> str:
        return html_text(self)


def strength(
    blade: Blade,
    *,
    load_n: float,
    recession: Recession = None,
    face_um: float = 0.0,
    load_from_toe_mm: float | None = None,
) -> Strength:
    """Bending stress at every station under a load at the toe, and its ratio to new.

    Parameters
    ----------
    blade : Blade
        The new blade, or the blade as first met; not a hoe.
    load_n : float
        Load at the toe [N].
    recession : float, mapping, Session or Life, optional
        What is worn away: the same recession along the face of every edge [µm]; or a mapping from
        an edge's name to recessions at evenly spaced stations [µm], both ground parallel to the
        flank; or the fields of a session or of a whole life. None: nothing.
    face_um : float
        Depth removed from the face as well [µm]; not with a session or a life, which have their
        own.
    load_from_toe_mm : float, optional
        Distance of the load from the toe [mm]; half the length in contact by default.

    Returns
    -------
    Strength

    Raises
    ------
    EdgekitError
        For a hoe, a load not above 0, a recession that leaves nothing, or unknown edge names.

    Notes
    -----
    Euler-Bernoulli bending with the exact section properties of the worn polygons. Twist, shear,
    notches and fatigue are left out: the ratio says how much weaker the blade is, not when it
    breaks. Murray et al. 1984 found no significant loss before 10-20 % less size.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> worn = ek.strength(blade, load_n=5.0, recession=43.0)  # a tenth of the width
    >>> round(float(worn.strength_left), 2), round(worn.most_at_risk.arc_mm, 1)
    (0.74, 0.0)
    """
    instance("blade", blade, Blade, "Give a blade, such as patterns.universal_curette().")
    load = positive("load_n", load_n, "Give newtons.")
    depth = at_least("face_um", face_um, 0.0)
    grids = _grids(blade, recession)
    model = bending_model(blade, grids, load_from_toe_mm=load_from_toe_mm, rows=ROWS)
    wears = _wears(blade, grids, recession, depth)
    lost = shortened_mm(grids, [_end(*pair) for pair in zip(grids, wears, strict=True)])
    stress = np.moveaxis(model.mpa_per_n(wears, lost), 0, 1)
    if not np.isfinite(stress).all():
        raise EdgekitError(
            "nothing is left of the blade at a section",
            float(model.arc_mm[np.argwhere(~np.isfinite(stress))[0, -1]]),
            "Give a smaller recession [µm], or fewer sessions.",
        )
    states = slice(None) if isinstance(recession, Life) else 0
    stress, middle = stress[states], len(model.arc_mm) // 2
    return Strength(
        blade=blade,
        load_n=load,
        load_from_toe_mm=model.load_from_toe_mm,
        arc_mm=model.arc_mm,
        lever_mm=model.lever_mm,
        stress_mpa=load * stress,
        new_mpa=load * model.new_mpa_per_n,
        stress_ratio=stress / model.new_mpa_per_n,
        strength_left=np.asarray(model.strength_left(wears, lost)[states]),
        section_mm=model.outlines_mm(wears, len(lost))[states, middle],
        new_section_mm=model.outlines_mm((), 1)[0, middle],
    )


def _grids(blade: Blade, recession: Recession) -> Sequence[EdgeGrid]:
    """Grids with the nodes of the given fields."""
    if isinstance(recession, Life):
        if recession.blade is not blade:
            raise EdgekitError("the life is of another blade", recession.blade, "Give its blade.")
        return recession.grids
    stations, depths = STATIONS, DEPTHS
    if isinstance(recession, Session):
        if list(recession.edges) != list(blade.edges):
            raise EdgekitError(
                "the session is of another blade", list(recession.edges), "Give its own blade."
            )
        first = next(iter(recession.edges.values()))
        stations, depths = len(first.arc_mm), len(first.depth_mm)
    return [prepare_edge(blade, name, stations=stations, depths=depths) for name in blade.edges]


def _wears(
    blade: Blade, grids: Sequence[EdgeGrid], recession: Recession, face_um: float
) -> tuple[Wear, ...]:
    """What is worn away from each edge, in one state or in one per session."""
    if isinstance(recession, Life | Session):
        if face_um > 0:
            raise EdgekitError(
                "face_um is for a recession given as numbers",
                face_um,
                "Leave it out: a session and a life have their own.",
            )
        if isinstance(recession, Life):
            return joined(recession.wears)
        return tuple(
            Wear((done.inset_mm - grid.inset_mm)[:, None, :], done.drop_mm[None])
            for done, grid in zip(recession.edges.values(), grids, strict=True)
        )
    given = _by_edge(blade, recession)
    drop = np.full((1, STATIONS), face_um / UM_PER_MM)
    return tuple(
        Wear(_parallel(grid, given[grid.name] / UM_PER_MM)[:, None, :], drop) for grid in grids
    )


def _by_edge(
    blade: Blade, recession: float | Mapping[str, ArrayLike] | None
) -> dict[str, FloatArray]:
    """Recession (S,) [µm] of each edge."""
    if not isinstance(recession, Mapping):
        remedy = "Give micrometres, a mapping by edge, a Session or a Life."
        everywhere = at_least("recession", 0.0 if recession is None else recession, 0.0, remedy)
        return {name: np.full(STATIONS, everywhere) for name in blade.edges}
    for name in recession:
        if name not in blade.edges:
            raise EdgekitError("no such edge", name, f"Choose from {list(blade.edges)}.")
    stations = np.linspace(0, 1, STATIONS)
    by_edge = {}
    for name in blade.edges:
        given = recession.get(name, 0.0)
        values = np.atleast_1d(array_between(f"recession of {name}", given, 0, np.inf, ends=True))
        if values.ndim != 1 or not len(values):
            raise EdgekitError("recession must be one row per edge", values.shape, "Flatten it.")
        by_edge[name] = np.interp(stations, np.linspace(0, 1, len(values)), values)
    return by_edge


def _parallel(grid: EdgeGrid, recession_mm: FloatArray) -> FloatArray:
    """Field (V, S) removed by grinding parallel to the flank, by a recession (S,) of the edge."""
    flank = recession_mm + grid.depth_mm / np.tan(grid.angle_rad)
    return np.where(recession_mm > 0, np.maximum(flank - grid.inset_mm, 0.0), 0.0)


def _end(grid: EdgeGrid, wear: Wear) -> FloatArray:
    """Inset (R,) [mm] at the toe end of one edge."""
    field = wear.removed_mm + grid.inset_mm[:, None, :]
    return end_inset_mm(grid, field, inset_at(grid, field, wear.drop_mm), wear.drop_mm)
