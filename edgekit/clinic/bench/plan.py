"""Plan an hour at the bench: fewest settings for a tray, order of work, minutes, what is left."""

from __future__ import annotations

import difflib
from bisect import bisect_left
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import NamedTuple

import numpy as np
import pandas as pd

from edgekit import checks
from edgekit.clinic.bench import tables
from edgekit.clinic.bench.by_hand import can_be_ground, can_be_marked
from edgekit.clinic.bench.minutes import Duration, Work, duration
from edgekit.clinic.bench.on_the_stone import max_stroke_deg
from edgekit.clinic.bench.requirements import (
    EdgeRequirements,
    min_clear_deg,
    requirements,
)
from edgekit.clinic.bench.runs import Arrangement, arrange
from edgekit.clinic.bench.settings import SettingRange
from edgekit.clinic.bench.steps import Step, plan_steps
from edgekit.contact.holder import Holder
from edgekit.display import hidden
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade
from edgekit.record import Record

__all__ = ["BenchPlan", "plan_bench"]

ANY_SETTING = SettingRange(low_deg=-90.0, high_deg=90.0)
MAX_EDGES = 2000  # edges of one session; more is a slip, and the sheet could not be printed
LEAST_DEG = 1e-3  # no holder and no protractor tells less
MAX_CODE = 80  # letters of the code of an instrument, which must fit the sheet


class BenchPlan(Record):
    """A plan of one bench session.

    Attributes
    ----------
    settings : pandas.DataFrame
        One row per set-up of the holder, in order of work: ``run, elevation_deg, within_deg`` (how
        far the holder may stand from it, its own error or more), ``low_deg, high_deg`` (where it
        may stand if another setting is chosen, its error included), ``riser_mm`` (what goes under
        the stone; negative: raise the pivot by that much; NaN without a `holder`), ``edges`` (how
        many).
    order : pandas.DataFrame
        One row per step in order of work: ``step, run, how`` (holder, by hand, rod), ``instrument,
        edge, elevation_deg, elevation_to_deg`` (they differ by hand), ``from_mm, to_mm`` along the
        edge, ``roll_from_deg, roll_to_deg, worst_error_deg`` (wherever the holder stands within its
        error), ``placements, rounds, strokes, riser_mm, hollow_um, rod_mm`` (largest rod that
        reaches; NaN for other steps), ``urgent``.
    edges : pandas.DataFrame
        One row per edge of the tray, done or not: ``instrument, edge, length_mm, low_deg,
        high_deg`` (where the holder may stand; NaN where no one setting serves what the holder
        does), ``settings`` (how many it takes), ``settings_for_all`` (fewest that would serve all
        that a flat stone reaches), ``holder_mm, hand_mm, rod_mm``, ``urgent, planned``.
    minutes : pandas.DataFrame
        Part by part and in all: ``part, count, seconds_each, minutes`` with low and high (90 %).
    unserved : pandas.DataFrame
        Everything the holder does not do in this session: ``instrument, edge, from_mm, to_mm,
        reason, advice``. Stretches for the hand or a rod are also steps of `order`; edges without
        time are not, nor stretches at which handle or shank is in the way of a stone in the hand.
    practice : pandas.DataFrame
        Seconds per working end beside common practice, for comparison only: ``instrument, kind,
        seconds, practice_seconds, status``.
    witness : pandas.DataFrame
        Windows of the planned edges, cut as they are, of which no two share twice the holder's
        error, so that each needs a setting of its own: ``instrument, edge, low_deg, high_deg``
        (where the holder may stand). Urgency may ask for more set-ups than that.
    min_settings : int
        The fewest settings of any plan, however it cuts the edges.
    duration : Duration
        The minutes as a distribution: ``duration.chance(60)``.
    tolerance_deg, setting_error_deg : float
    minutes_available : float or None
    holder : Holder or None
        As given: None means that the holder's measures, and so the risers, are not known.
    requirements : tuple of EdgeRequirements
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
    min_settings: int
    duration: Duration
    tolerance_deg: float
    setting_error_deg: float
    minutes_available: float | None
    holder: Holder | None
    requirements: tuple[EdgeRequirements, ...]
    steps: tuple[Step, ...]

    @property
    def changes(self) -> int:
        """Changes of setting on the way; the first set-up is not one."""
        return max(len(self.settings) - 1, 0)

    def __repr__(self) -> str:
        total = self.minutes.iloc[-1]
        planned = int(self.edges["planned"].sum())
        late = len(self.edges) - planned
        left_out = f"; {late} edges left out for time" if late else ""
        return (
            f"BenchPlan: {planned} edges of {self.edges['instrument'].nunique()} instruments at "
            f"{len(self.settings)} settings ({len(self.witness)} are needed, cut as the edges are; "
            f"{self.min_settings} however they are cut), each held within "
            f"± {self.setting_error_deg:g}°, {total['minutes']:.0f} minutes "
            f"({total['minutes_low']:.0f} to {total['minutes_high']:.0f}){left_out}"
        )


class _Schedule(NamedTuple):
    """Edges that are planned together, the work they make and how long it takes."""

    needs: list[EdgeRequirements]
    arrangement: Arrangement
    steps: list[Step]
    left: list[Step]  # where neither holder nor hand can bring a stone
    duration: Duration


def plan_bench(
    blades: Mapping[str, Blade] | Sequence[Blade],
    *,
    tolerance_deg: float = value("tolerance_deg"),
    setting_error_deg: float = value("bench_setting_error_deg"),
    setting_range: SettingRange = ANY_SETTING,
    holder: Holder | None = None,
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

    An edge that one setting can hold like that takes one; any other is cut in stretches, each with
    its own window, as long as they are worth a set-up. Toes belong to their edges. Settings at
    which handle or shank would touch the stone, or the holder's post leaves no room for a stroke,
    are not used. Every urgent edge comes before every other.

    Where time is short, edges are kept in this order: urgent ones; then those with one setting,
    those sharing it with most others first; then those with several; then those for the hand. As
    many as end in time with the stated chance are planned, the others are named in `unserved`.

    Parameters
    ----------
    blades : mapping of code to Blade, or sequence of Blade
        The tray; in a sequence each blade goes by its own name.
    tolerance_deg : float
        Largest angle error along an edge [deg].
    setting_error_deg : float
        How far the holder may stand from the setting meant [deg]: what reading its scale,
        clamping and play amount to together, at most. The default is assumed; measure yours.
    setting_range : SettingRange
        Lowest and highest setting the holder can take, and its step.
    holder : Holder, optional
        Pivot, reach, stone and handle, for riser and clearance. Without it no riser is given, and
        clearance is judged with the assumed measures of `Holder`.
    urgent : collection
        Codes of instruments, or pairs (code, edge), to do first.
    minutes_available : float, optional
        Time at hand [min].
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
        No blades, two of one name, a name of over 80 letters, an urgent edge that is not in the
        tray, a number out of range.

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
    tolerance = checks.between(
        "tolerance_deg", tolerance_deg, LEAST_DEG, 45, "Give degrees, such as 2."
    )
    error = checks.at_least("setting_error_deg", setting_error_deg, 0)
    ridge_um = checks.positive("ridge_um", ridge_um, "Give micrometres, such as 10.")
    most = checks.count("max_settings", max_settings)
    chance = checks.between("chance", chance, 0, 1)
    if minutes_available is not None:
        minutes_available = checks.positive("minutes_available", minutes_available)
    if holder is not None:
        checks.instance("holder", holder, Holder, "Give edgekit.Holder(pivot_height_mm=..., ...).")
    remedy = "Give edgekit.SettingRange(low_deg=..., high_deg=...)."
    checks.instance("setting_range", setting_range, SettingRange, remedy)
    require = partial(
        requirements,
        tolerance_deg=tolerance,
        setting_error_deg=error,
        setting_range=_clear_range(setting_range, holder or Holder(), error),
        max_settings=most,
    )
    needs = _requirements(_tray(blades), urgent, require)
    schedule = partial(_schedule, setting_range, ridge_um, holder or Holder())
    work = schedule(needs)
    if minutes_available is not None:
        work = _in_time(work, schedule, minutes_available, chance)
    return _plan(needs, work, tolerance, error, minutes_available, holder)


def _tray(blades: Mapping[str, Blade] | Sequence[Blade]) -> dict[str, Blade]:
    """Blades by code."""
    listed = "Give {code: blade, …} or [blade, …]."
    pairs: Iterable[tuple[object, object]] = (
        blades.items()
        if isinstance(blades, Mapping)
        else [(getattr(b, "name", ""), b) for b in checks.iterated("a tray", blades, listed)]
    )
    tray: dict[str, Blade] = {}
    for code, blade in pairs:
        remedy = 'Give {"FH-03-UC": blade, …}.'
        if not isinstance(blade, Blade) or not isinstance(code, str) or not code.strip():
            given = (code, type(blade).__name__)
            raise BadArgument("a tray holds blades by their codes", given, remedy)
        if hidden(code):
            raise BadArgument(f"a code holds {hidden(code)[0]}, which cannot be seen", code, remedy)
        if len(code) > MAX_CODE:
            raise BadArgument(f"a code has over {MAX_CODE} letters", code[:MAX_CODE], remedy)
        if code in tray:
            raise BadArgument("two instruments have one name", code, remedy)
        tray[code] = blade
    if not 0 < sum(len(blade.edges) for blade in tray.values()) <= MAX_EDGES:
        remedy = "Give the blades of one session."
        raise BadArgument(f"a tray has 1 to {MAX_EDGES} edges", len(tray), remedy)
    return tray


def _clear_range(
    setting_range: SettingRange, holder: Holder, setting_error_deg: float
) -> SettingRange:
    """The settings at which only the blade touches the stone and a stroke has room."""
    steepest = max_stroke_deg(holder) - setting_error_deg
    clear = np.array([[min_clear_deg(holder) + setting_error_deg, steepest]])
    low, high = setting_range.within(clear)[0].tolist()
    if low > setting_range.high_deg:
        raise Cannot(
            f"handle or shank touches the stone at every setting below {low:.1f}°",
            (setting_range.low_deg, setting_range.high_deg),
            "Use a shorter stone or a higher range of settings.",
        )
    if low > high:
        raise Cannot(
            f"before the holder's post a stroke has no room at settings above {steepest:.1f}°",
            (setting_range.low_deg, setting_range.high_deg),
            "Use a holder of a longer reach or a lower range of settings.",
        )
    return replace(setting_range, low_deg=low, high_deg=high)


def _requirements(
    tray: Mapping[str, Blade],
    urgent: Collection[str | tuple[str, str]],
    require: Callable[[str, Blade, str], EdgeRequirements],
) -> list[EdgeRequirements]:
    """What each edge requires; computed once for a pattern that serves several instruments."""
    keys = [(code, name) for code, blade in tray.items() for name in blade.edges]
    _check_urgent(urgent, keys)
    known: dict[tuple[int, str], EdgeRequirements] = {}
    needs = []
    for code, name in keys:
        pattern = id(tray[code]), name
        if pattern not in known:
            known[pattern] = require(code, tray[code], name)
        first = code in urgent or (code, name) in urgent
        needs.append(replace(known[pattern], instrument=code, urgent=first))
    return needs


def _check_urgent(
    urgent: Collection[str | tuple[str, str]], keys: Sequence[tuple[str, str]]
) -> None:
    checks.iterated("urgent", urgent, "Give a list of codes.")
    codes = {code for code, _ in keys}
    for item in urgent:
        checks.instance("each of urgent", item, (str, tuple), "Give codes, or pairs (code, edge).")
        if item not in codes and item not in keys:
            word = item if isinstance(item, str) else "".join(map(str, item[:1]))
            near = difflib.get_close_matches(word, codes, 1)
            remedy = f"Did you mean {near[0]!r}?" if near else "Give codes of the tray."
            raise BadArgument("an urgent instrument is not in the tray", item, remedy)


def _schedule(
    setting_range: SettingRange, ridge_um: float, holder: Holder, needs: list[EdgeRequirements]
) -> _Schedule:
    """The order of work on some edges; an instrument is mounted again after any other one."""
    arrangement = arrange(needs, setting_range)
    every = plan_steps(needs, arrangement, ridge_um)
    steps = [s for s in every if can_be_marked(s) and can_be_ground(s, holder)]
    left = [step for step in every if step not in steps]
    mounted = [(step.run, step.requirements.instrument) for step in steps]
    work = Work(
        strokes=sum(step.strokes for step in steps),
        mountings=sum(a != b for a, b in zip(mounted, [None, *mounted], strict=False)),
        checks=len(needs),
        setups=len(arrangement.settings_deg),
    )
    return _Schedule(needs, arrangement, steps, left, duration(work))


def _in_time(
    every: _Schedule,
    schedule: Callable[[list[EdgeRequirements]], _Schedule],
    minutes: float,
    chance: float,
) -> _Schedule:
    """As many of the edges, by priority, as end in time with the chance asked for.

    More edges never take less time, so their number is found by halving.
    """
    needs, pieces = every.needs, every.arrangement.pieces
    sharing = np.bincount([p.run + 1 for p in pieces])[1:]
    runs = [[p.run for p in pieces if p.edge == at and p.run >= 0] for at in range(len(needs))]

    def priority(at: int) -> tuple[object, ...]:
        most_shared = max((int(sharing[run]) for run in runs[at]), default=0)
        return not needs[at].urgent, not runs[at], len(runs[at]), -most_shared, at

    order = sorted(range(len(needs)), key=priority)

    def first(size: int) -> _Schedule:
        return schedule([needs[at] for at in sorted(order[:size])])

    def late(last: int) -> bool:
        return first(last + 1).duration.chance(minutes) < chance

    return first(bisect_left(range(len(needs)), True, key=late))


def _plan(
    needs: Sequence[EdgeRequirements],
    work: _Schedule,
    tolerance_deg: float,
    setting_error_deg: float,
    minutes: float | None,
    holder: Holder | None,
) -> BenchPlan:
    late = [need for need in needs if need not in work.needs]
    settings = tables.settings_table(work.arrangement, holder, setting_error_deg)
    return BenchPlan(
        settings=settings,
        order=tables.order_table(work.steps, settings),
        edges=tables.edges_table(needs, work.arrangement, work.needs),
        minutes=work.duration.table,
        unserved=tables.unserved_table(
            work.steps, work.left, late, minutes, tolerance_deg, holder or Holder()
        ),
        practice=tables.practice_table(work.steps),
        witness=tables.witness_table(work.arrangement, work.needs),
        min_settings=work.arrangement.min_settings,
        duration=work.duration,
        tolerance_deg=tolerance_deg,
        setting_error_deg=setting_error_deg,
        minutes_available=minutes,
        holder=holder,
        requirements=tuple(needs),
        steps=tuple(work.steps),
    )
