"""The hour at the bench: fewest settings for a tray, the order of work, the minutes, what is left."""

from __future__ import annotations

import difflib
import html
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from edgekit import checks
from edgekit.clinic.bench.minutes import Duration, Work, duration, factors
from edgekit.clinic.bench.requirements import EdgeRequirements, ask, min_clear_deg
from edgekit.clinic.bench.runs import Arrangement, arrange
from edgekit.clinic.bench.settings import SettingRange
from edgekit.clinic.bench.steps import Step, plan_steps
from edgekit.contact.holder import Holder
from edgekit.errors import EdgekitError
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade, BladeClass

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["BenchPlan", "plan_bench"]

ANY_SETTING = SettingRange(low_deg=-90.0, high_deg=90.0)
TOO_MANY = 2000
"""Edges of one session; more is a slip, and the sheet could not be printed."""


@dataclass(frozen=True, kw_only=True, eq=False)
class BenchPlan:
    """A plan of one bench session.

    Attributes
    ----------
    settings : pandas.DataFrame
        A row a set-up of the holder, in order of work: ``run, elevation_deg, within_deg`` (how far
        the holder may stand from it, its own error or more), ``low_deg, high_deg`` (where it may
        stand if another setting is chosen, its error included), ``riser_mm`` (what goes under the
        stone; negative: raise the pivot by so much; NaN without a `stand`), ``edges`` (how many).
    order : pandas.DataFrame
        A row a step in order of work: ``step, run, how`` (holder, by hand, rod), ``instrument, edge,
        elevation_deg, elevation_to_deg`` (they differ by hand), ``from_mm, to_mm`` along the edge,
        ``roll_from_deg, roll_to_deg, worst_error_deg`` (wherever the holder stands within its
        error), ``placements, rounds, strokes, riser_mm, hollow_um, rod_mm`` (largest rod
        that reaches; NaN for other steps), ``urgent``.
    edges : pandas.DataFrame
        A row an edge of the tray, done or not: ``instrument, edge, length_mm, low_deg, high_deg``
        (where the holder may stand; NaN where no one setting serves what the holder does),
        ``settings`` (how many it takes), ``settings_for_all`` (fewest that would serve all that a flat
        stone reaches), ``holder_mm, hand_mm, rod_mm``, ``urgent, planned``.
    minutes : pandas.DataFrame
        Part by part and in all: ``part, count, seconds_each, minutes`` with low and high (90 %).
    unserved : pandas.DataFrame
        Whatever the holder does not do in this session: ``instrument, edge, from_mm, to_mm, reason, advice``.
        Stretches for the hand or a rod are also steps of `order`; edges without time are not.
    practice : pandas.DataFrame
        Seconds a working end against common practice, a check and no more: ``instrument, kind, seconds,
        practice_seconds, status``.
    witness : pandas.DataFrame
        Windows of the planned edges, cut as they are, of which no two share twice the holder's
        error, so that each needs a setting of its own: ``instrument, edge, low_deg, high_deg``
        (where the holder may stand). Urgency may ask for more set-ups than that.
    least : int
        What no plan goes below, however it cuts the edges.
    duration : Duration
        The minutes as a distribution: ``duration.chance(60)``.
    tolerance_deg, setting_error_deg : float
    minutes_available : float or None
    stand : Holder or None
        As given: None means that the holder's measures are not known, and no riser is.
    asks : tuple of EdgeRequirements
        Geometry behind each row of `edges`.
    steps : tuple of Step
        Geometry behind each row of `order`.
    """

    settings: pd.DataFrame
    order: pd.DataFrame
    edges: pd.DataFrame
    minutes: pd.DataFrame
    unserved: pd.DataFrame
    practice: pd.DataFrame
    witness: pd.DataFrame
    least: int
    duration: Duration
    tolerance_deg: float
    setting_error_deg: float
    minutes_available: float | None
    stand: Holder | None
    asks: tuple[EdgeRequirements, ...]
    steps: tuple[Step, ...]

    @property
    def changes(self) -> int:
        """Changes of setting on the way; the first set-up is not one."""
        return max(len(self.settings) - 1, 0)

    def __repr__(self) -> str:
        whole = self.minutes.iloc[-1]
        planned = int(self.edges["planned"].sum())
        late = len(self.edges) - planned
        said = f"; {late} edges left out for time" if late else ""
        return (
            f"BenchPlan: {planned} edges of {self.edges['instrument'].nunique()} instruments at "
            f"{len(self.settings)} settings ({len(self.witness)} are needed, cut as the edges are; "
            f"{self.least} however they are cut), each held within ± {self.setting_error_deg:g}°, "
            f"{whole['minutes']:.0f} minutes "
            f"({whole['minutes_low']:.0f} to {whole['minutes_high']:.0f}){said}"
        )

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(repr(self))}</p>"


def plan_bench(
    blades: Mapping[str, Blade] | Sequence[Blade],
    *,
    tolerance_deg: float = value("tolerance_deg"),
    setting_error_deg: float = value("bench_setting_error_deg"),
    takes: SettingRange = ANY_SETTING,
    stand: Holder | None = None,
    urgent: Collection[str | tuple[str, str]] = (),
    minutes_available: float | None = None,
    chance: float = value("bench_chance"),
    max_settings: int = int(value("bench_most_settings")),
    ridge_um: float = value("bench_ridge_um"),
) -> BenchPlan:
    """Plan a session: the fewest settings that serve the tray, and everything they do not serve.

    The angle keeps within the tolerance wherever the holder stands within its error of the setting:
    the error is taken off every window first, and a stretch that accepts less than ± the error goes
    to the hand, with the tolerance that would serve it.

    An edge that one setting can hold so takes one; another is cut in stretches,
    each with its own window, as long as they are worth a set-up. Toes belong to their edges. Settings at which
    handle or shank would touch the stone are not used. Every urgent edge comes before every other.

    Where time is short, edges are kept in this order: urgent ones; then those with one setting, those
    sharing it with most others first; then those with several; then those for the hand. As many
    as end in time with the stated chance are planned, the others are named in `unserved`.

    Parameters
    ----------
    blades : mapping of code to Blade, or sequence of Blade
        The tray; a sequence goes by the blades' own names.
    tolerance_deg : float
        Largest angle error along an edge [deg].
    setting_error_deg : float
        How far the holder may stand from the setting meant [deg]: what reading its scale,
        clamping and play amount to together, at most. The default is assumed; measure yours.
    takes : SettingRange
        Lowest and highest setting the holder can take, and its step.
    stand : Holder, optional
        Pivot, reach, stone and handle, for riser and clearance. Without it no riser is given, and
        clearance is judged with the assumed measures of `Holder`.
    urgent : collection
        Codes of instruments, or pairs (code, edge), to do first.
    minutes_available : float, optional
        Time there is [min].
    chance : float
        Chance with which the plan must end in that time.
    max_settings : int
        Settings one edge may take before the rest of it goes to the hand.
    ridge_um : float
        Highest ridge between neighbouring placements [µm].

    Returns
    -------
    BenchPlan

    Raises
    ------
    EdgekitError
        No blades, two of one name, an urgent edge that is not in the tray, a number out of range.

    Examples
    --------
    >>> import edgekit as ek
    >>> plan = plan_bench({"FH-01-UC": ek.patterns.universal_curette(),
    ...                    "FH-01-HO": ek.patterns.hoe()}, tolerance_deg=2)
    >>> plan.settings["elevation_deg"].round(6).tolist()
    [15.0, 55.0]
    >>> plan.order[["instrument", "edge", "run"]].to_numpy().tolist()
    [['FH-01-UC', 'left', 1], ['FH-01-UC', 'right', 1], ['FH-01-HO', 'edge', 2]]
    """
    tolerance = checks.between("tolerance_deg", tolerance_deg, 0, 45, "Give degrees, such as 2.")
    error = checks.at_least("setting_error_deg", setting_error_deg, 0)
    ridge_um = checks.positive("ridge_um", ridge_um, "Give micrometres, such as 10.")
    most = checks.count("max_settings", max_settings)
    chance = checks.between("chance", chance, 0, 1)
    if minutes_available is not None:
        minutes_available = checks.positive("minutes_available", minutes_available)
    if stand is not None:
        checks.instance("stand", stand, Holder, "Give edgekit.Holder(pivot_height_mm=..., ...).")
    can_take = _cut(takes, stand or Holder(), error)
    asks = _asks(_tray(blades), tolerance, error, can_take, most)
    hurry = _urgent(asks, urgent)
    kept = np.ones(len(asks), dtype=bool)
    found = arrange(asks, hurry, takes)
    if minutes_available is not None:
        kept = _in_time(asks, hurry, found, takes, minutes_available, chance, ridge_um)
        found = arrange([a for a, k in zip(asks, kept, strict=True) if k], hurry[kept], takes)
    return _plan(asks, hurry, kept, found, tolerance, error, minutes_available, stand, ridge_um)


def _tray(blades: Mapping[str, Blade] | Sequence[Blade]) -> dict[str, Blade]:
    """Blades by code."""
    if isinstance(blades, Blade):
        raise EdgekitError("a tray is a mapping or list of blades", blades.name, "Write [blade].")
    pairs: list[tuple[object, object]] = (
        list(blades.items())
        if isinstance(blades, Mapping)
        else [(getattr(blade, "name", ""), blade) for blade in blades]
    )
    for code, blade in pairs:
        if not isinstance(blade, Blade) or not isinstance(code, str) or not code.strip():
            raise EdgekitError(
                "a tray holds blades by their codes",
                (code, type(blade).__name__),
                'Give {"FH-03-UC": blade, …}.',
            )
    tray = {str(code): blade for code, blade in pairs if isinstance(blade, Blade)}
    if len(tray) < len(pairs):
        twice = [str(code) for code, _ in pairs]
        raise EdgekitError(
            "two instruments have one name",
            next(code for code in twice if twice.count(code) > 1),
            'Give a mapping of codes to blades, {"FH-03-UC": blade, …}.',
        )
    if not 0 < sum(len(blade.edges) for blade in tray.values()) <= TOO_MANY:
        raise EdgekitError(
            f"a tray has 1 to {TOO_MANY} edges", len(tray), "Give the blades of one."
        )
    return tray


def _cut(takes: SettingRange, stand: Holder, setting_error_deg: float) -> SettingRange:
    """The settings of the holder at which nothing but the blade touches the stone."""
    low = max(takes.low_deg, min_clear_deg(stand) + setting_error_deg)
    if takes.step_deg > 0:
        steps = np.ceil((low - takes.low_deg) / takes.step_deg - 1e-9)
        low = takes.low_deg + float(steps) * takes.step_deg
    if low > takes.high_deg:
        raise EdgekitError(
            f"handle or shank touches the stone at every setting below {low:.1f}°",
            (takes.low_deg, takes.high_deg),
            "Use a shorter stone or a higher range of settings.",
        )
    return SettingRange(low_deg=low, high_deg=takes.high_deg, step_deg=takes.step_deg)


def _asks(
    tray: dict[str, Blade], tolerance: float, error: float, takes: SettingRange, most: int
) -> tuple[EdgeRequirements, ...]:
    asked: dict[tuple[int, str], EdgeRequirements] = {}
    found = []
    for code, blade in tray.items():
        for name in blade.edges:
            # one pattern often serves several instruments of a tray
            if (id(blade), name) not in asked:
                asked[id(blade), name] = ask(
                    code,
                    blade,
                    name,
                    tolerance_deg=tolerance,
                    setting_error_deg=error,
                    takes=takes,
                    max_settings=most,
                )
            found.append(replace(asked[id(blade), name], instrument=code))
    return tuple(found)


def _urgent(
    asks: Sequence[EdgeRequirements], urgent: Collection[str | tuple[str, str]]
) -> NDArray[np.bool_]:
    """Which edges come first."""
    if isinstance(urgent, str):
        raise EdgekitError("urgent is a collection of codes", urgent, f"Write [{urgent!r}].")
    known = {a.instrument for a in asks} | {a.key for a in asks}
    for item in urgent:
        if item not in known:
            code = item if isinstance(item, str) else str(item[0])
            near = difflib.get_close_matches(code, [a.instrument for a in asks], 1)
            raise EdgekitError(
                "an urgent instrument is not in the tray",
                item,
                f"Did you mean {near[0]!r}?" if near else "Give codes of the tray.",
            )
    return np.array([a.instrument in urgent or a.key in urgent for a in asks], dtype=bool)


def _in_time(
    asks: Sequence[EdgeRequirements],
    urgent: NDArray[np.bool_],
    found: Arrangement,
    takes: SettingRange,
    minutes: float,
    chance: float,
    ridge_um: float,
) -> NDArray[np.bool_]:
    """The longest beginning of the edges, by priority, that ends in time with the chance asked.

    More edges never take less time, so the length is found by halving.
    """
    sharing = np.bincount(
        [p.run for p in found.pieces if p.run >= 0], minlength=len(found.settings_deg) + 1
    )
    runs = [[p.run for p in found.pieces if p.edge == at and p.run >= 0] for at in range(len(asks))]
    order = sorted(
        range(len(asks)),
        key=lambda at: (
            not urgent[at],
            not runs[at],
            len(runs[at]),
            -max((int(sharing[run]) for run in runs[at]), default=0),
            at,
        ),
    )

    def mask(size: int) -> NDArray[np.bool_]:
        kept = np.zeros(len(asks), dtype=bool)
        kept[order[:size]] = True
        return kept

    def ends(size: int) -> bool:
        kept = mask(size)
        part = [a for a, k in zip(asks, kept, strict=True) if k]
        arranged = arrange(part, urgent[kept], takes)
        steps = plan_steps(part, arranged, ridge_um)
        return duration(_work(part, steps, arranged)).chance(minutes) >= chance

    low, high = 0, len(asks) + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if ends(middle) else (low, middle)
    return mask(low)


def _work(asks: Sequence[EdgeRequirements], steps: Sequence[Step], found: Arrangement) -> Work:
    """Counts of what takes time; an instrument is mounted anew whenever another was before it."""
    mounted = [(step.run, step.ask.instrument) for step in steps]
    mountings = sum(a != b for a, b in zip(mounted, [None, *mounted], strict=False))
    return Work(
        strokes=sum(step.strokes for step in steps),
        mountings=mountings,
        checks=len(asks),
        setups=len(found.settings_deg),
    )


def _plan(
    asks: tuple[EdgeRequirements, ...],
    urgent: NDArray[np.bool_],
    kept: NDArray[np.bool_],
    found: Arrangement,
    tolerance: float,
    error: float,
    minutes: float | None,
    stand: Holder | None,
    ridge_um: float,
) -> BenchPlan:
    from edgekit.clinic.bench import tables

    planned = [a for a, k in zip(asks, kept, strict=True) if k]
    steps = plan_steps(planned, found, ridge_um)
    time = duration(_work(planned, steps, found))
    hurry = {a.key for a, u in zip(asks, urgent, strict=True) if u}
    return BenchPlan(
        settings=tables.settings_table(found, stand, error),
        order=tables.order_table(steps, stand, hurry),
        edges=tables.edges_table(asks, found, planned, hurry),
        minutes=time.table,
        unserved=tables.unserved_table(
            steps, [a for a in asks if a not in planned], minutes, tolerance
        ),
        practice=_practice(steps),
        witness=tables.witness_table(found, planned),
        least=found.bound,
        duration=time,
        tolerance_deg=tolerance,
        setting_error_deg=error,
        minutes_available=minutes,
        stand=stand,
        asks=asks,
        steps=tuple(steps),
    )


PRACTICE = {
    BladeClass.UNIVERSAL: "practice_universal_seconds",
    BladeClass.AREA_SPECIFIC: "practice_area_specific_seconds",
}


def _practice(steps: Sequence[Step]) -> pd.DataFrame:
    """Seconds of each working end that common practice speaks of, the holder's set-up apart."""
    import pandas as pd

    f = factors()
    rows = []
    for code in dict.fromkeys(step.ask.instrument for step in steps):
        mine = [step for step in steps if step.ask.instrument == code]
        kind = mine[0].ask.blade.kind
        if kind in PRACTICE:
            edges = len({step.ask.name for step in mine})
            mounts = len({step.run for step in mine})
            seconds = (
                sum(step.strokes for step in mine) * f["stroke"].median
                + edges * f["check"].median
                + mounts * f["mounting"].median
            )
            rows.append((code, kind.value, seconds, value(PRACTICE[kind]), "common practice"))
    names = ["instrument", "kind", "seconds", "practice_seconds", "status"]
    return pd.DataFrame(rows, columns=names)
