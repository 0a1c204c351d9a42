"""A blade and a method prepared for many lives: all that no run changes."""

from collections.abc import Sequence
from dataclasses import fields, replace
from functools import lru_cache
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from edgekit.bending import beam
from edgekit.checks import FloatArray, count
from edgekit.errors import BadArgument
from edgekit.geometry.blade import Blade
from edgekit.grinding.edge_state import EdgeState
from edgekit.grinding.kernel import aim_at
from edgekit.grinding.recession_field import EdgeGrid, prepare_edge
from edgekit.grinding.rolling import RolledEdge
from edgekit.grinding.rolling_session import FLAT_RAD
from edgekit.grinding.worn_blade import STATIONS
from edgekit.method.alternation import Alternation
from edgekit.method.guide import FollowEdge
from edgekit.method.method import Method
from edgekit.method.strokes import RollingStroke
from edgekit.record import Record

ROLLED_STATIONS = 32
Precision = type[np.float64] | type[np.float32]


def check_precision(precision: object) -> None:
    """Refuse what fields are not kept in."""
    if not isinstance(precision, type) or precision not in (np.float64, np.float32):
        remedy = "Give numpy.float64 or numpy.float32."
        raise BadArgument("no such precision", precision, remedy, argument="precision")


def usual_stations(
    blade: Blade, method: Method | Alternation, depths: int, precision: Precision = np.float64
) -> int:
    """Stations of an edge in lives for which none are asked.

    Where the stone follows a curved edge and rolls along all of it, what it leaves is smooth: at
    `ROLLED_STATIONS` the mean loss of 1000 lives lies nearer to its limit than its own standard
    error. A stone that lies flat on a straight edge, a fixed setting, whose error changes along the
    edge, partial strokes and placements ask for as many as a worn blade has.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.area_specific_curette()
    >>> usual_stations(blade, ek.methods.freehand(), 12)
    32
    >>> usual_stations(blade, ek.methods.face_honing(), 12)
    64
    """
    methods = method.methods if isinstance(method, Alternation) else (method,)
    if not all(_smooth(item) for item in methods):
        return STATIONS
    ready = _prepared(blade, ROLLED_STATIONS, depths, precision)  # type: ignore[arg-type]
    edges = _followed(ready.grids, rolls=True)
    flat = (isinstance(aim, RolledEdge) and aim.turned_rad[-1] < FLAT_RAD for aim in edges)
    return STATIONS if any(flat) else ROLLED_STATIONS


def _smooth(method: Method) -> bool:
    """Whether a method's strokes are rolled over whole edges by a stone that follows them."""
    stroke = method.stroke
    return (
        method.rolls
        and type(method.guide) is FollowEdge
        and type(stroke) is RollingStroke
        and stroke.stretch_mm is None
    )


def _in(precision: Precision, grid: EdgeGrid) -> EdgeGrid:
    """The same edge with its arrays, except the arc lengths, in another precision."""
    arrays = {item.name: getattr(grid, item.name) for item in fields(grid)}
    cast = {
        name: array.astype(precision)
        for name, array in arrays.items()
        if isinstance(array, np.ndarray) and name != "arc_mm"
    }
    return replace(grid, **cast)  # type: ignore[arg-type]


class _Prepared(NamedTuple):
    """What does not depend on the method: edges; the share (S,) of each station in its edge, and
    in its side, where ``on_side``; likewise (3, S) in their thirds; dimensions.
    """

    grids: tuple[EdgeGrid, ...]
    weights: tuple[FloatArray, ...]
    sides: tuple[FloatArray, ...]
    on_side: tuple[NDArray[np.bool_], ...]
    thirds: tuple[FloatArray, ...]
    side_thirds: tuple[FloatArray, ...]
    width_mm: float
    worn_mm: float
    length_mm: float
    thickness_mm: float


@lru_cache(maxsize=16)
def _prepared(blade: Blade, stations: int, depths: int, precision: Precision) -> _Prepared:
    """Cached, since controls that change the method alone ask for the same blade each time."""
    exact = [prepare_edge(blade, name, stations=stations, depths=depths) for name in blade.edges]
    grids = [_in(precision, grid) for grid in exact]
    return _Prepared(
        grids=tuple(grids),
        weights=tuple(grid.station_weights_mm / grid.station_weights_mm.sum() for grid in grids),
        sides=tuple(grid.side_weights.astype(precision) for grid in exact),
        on_side=tuple(grid.on_side for grid in exact),
        thirds=tuple(grid.thirds.astype(precision) for grid in exact),
        side_thirds=tuple(grid.side_thirds.astype(precision) for grid in exact),
        width_mm=blade.width_mm,
        worn_mm=blade.worn_width_mm,
        length_mm=blade.length_mm,
        thickness_mm=blade.thickness_mm,
    )


def _aims(grids: tuple[EdgeGrid, ...], method: Method) -> tuple[FloatArray | RolledEdge, ...]:
    """What a method aims at on the edges of a blade."""
    if type(method.guide) is FollowEdge:
        return _followed(grids, rolls=method.rolls)
    return tuple(aim_at(grid, method.guide, rolls=method.rolls) for grid in grids)


@lru_cache(maxsize=16)
def _followed(grids: tuple[EdgeGrid, ...], *, rolls: bool) -> tuple[FloatArray | RolledEdge, ...]:
    """The same of a stone that follows them, which rows of a sweep share."""
    return tuple(aim_at(grid, FollowEdge(), rolls=rolls) for grid in grids)


class PreparedBlade(Record):
    """A blade and a method prepared for any number of runs.

    ``aims``: for each method, in turn, one per edge. ``bending``: only where a rule needs the
    strength.
    """

    blade: Blade
    method: Method | Alternation
    ready: _Prepared
    aims: tuple[tuple[FloatArray | RolledEdge, ...], ...]
    bending: beam.BendingModel | None

    @property
    def grids(self) -> tuple[EdgeGrid, ...]:
        """The blade's edges."""
        return self.ready.grids

    @classmethod
    def of(
        cls,
        blade: Blade,
        method: Method | Alternation,
        stations: int | None,
        depths: int,
        precision: Precision = np.float64,
        *,
        strength: bool = False,
    ) -> Self:
        """Prepare a blade and a method, with `strength` for rules about bending."""
        check_precision(precision)
        depths = count("depths", depths, 3)
        if stations is None:
            stations = usual_stations(blade, method, depths, precision)
        stations = count("stations", stations, 2)
        ready = _prepared(blade, stations, depths, precision)  # type: ignore[arg-type]
        methods = method.methods if isinstance(method, Alternation) else (method,)
        exact = _prepared(blade, stations, depths, np.float64) if strength else None
        return cls(
            blade=blade,
            method=method,
            ready=ready,
            aims=tuple(_aims(ready.grids, item) for item in methods),
            bending=None if exact is None else beam.life_bending_model(blade, exact.grids),
        )

    def at(self, turn: int) -> tuple[Method, tuple[FloatArray | RolledEdge, ...]]:
        """The method of session number `turn`, and where it aims."""
        return self.method.at(turn), self.aims[turn % len(self.aims)]

    def wear(self, states: Sequence[EdgeState]) -> tuple[beam.Wear, ...]:
        """What has been removed from each edge."""
        return tuple(
            beam.Wear(state.inset_mm - grid.inset_mm[:, None, :], state.drop_mm)
            for state, grid in zip(states, self.grids, strict=True)
        )
