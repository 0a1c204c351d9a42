"""Methods compared on one blade, on the same instruments and hands, with their spread.

Run i of every method draws from the same child of the seed, in the same order: the instrument dulls
alike and the person makes the same errors. Differences between methods are therefore paired, and
far better known than the means themselves. The same lives at twice every resolution say how much
of a mean is the grid's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from functools import partial

import numpy as np
import pandas as pd
from scipy.special import ndtri

from edgekit.checks import FloatArray, between, count, instance, one_of
from edgekit.citing import paragraph
from edgekit.display import html_text
from edgekit.errors import BadArgument
from edgekit.geometry.blade import Blade
from edgekit.grinding.random_streams import SeededKeys
from edgekit.grinding.worn_blade import DEPTHS
from edgekit.life.life import Lives, Use, rules_of
from edgekit.life.retire import DEFAULT_RULES, RetireRule, chosen
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method
from edgekit.record import Record
from edgekit.study.case import LifeCase, lived_finer
from edgekit.study.chunks.window import check_executor, each
from edgekit.study.ignorance import ENDS, MAX_DRAWS, intervals
from edgekit.study.outcomes import (
    GRID,
    HEADLINES,
    VALUES,
    central,
    grid_column,
    sample_columns,
    session_percentiles,
    standard_error,
)
from edgekit.units import LEVEL

__all__ = ["Comparison", "compare"]

MAX_HISTORIES = 2000  # lives per method of which every session is kept
MAX_RUNS = 5_000_000
GRID_RUNS = 32  # enough to know the error of a default grid to some tenths of a micrometre
RUN_BYTES = 500  # of one life in the samples and their tables
SHOWN = {
    "method": "method",
    "loss_um_per_session": "width lost per session, µm",
    "loss_um_per_session_sd": "sd between lives",
    "loss_um_per_session_mc": "Monte-Carlo error",
    "grid_um": "grid error",
    "sessions_p10": "sessions, p10",
    "sessions_p50": "median",
    "sessions_p90": "p90",
    "angle_error_deg": "angle error, °",
    "sharp_fraction": "share sharp",
    "stone_strokes": "strokes on the stone",
    "steel_mg": "steel, mg",
    "minutes_per_session": "minutes per session",
}


MAX_NAMED = 4  # methods in a short form


class Comparison(Record):
    """Methods side by side.

    Attributes
    ----------
    table : DataFrame
        One row per method. ``loss_um_per_session`` (mean width loss over the sides), its ``_sd``
        between runs and ``_mc`` the Monte-Carlo standard error of the mean; the deepest loss and
        that of the heel, middle and toe thirds (``toe_um_per_session`` …) likewise; radii before a
        session (``dull_radius_um``, and ``toe_radius_um`` …); per-session means ``ridge_um,
        angle_error_deg, angle_rms_deg, sharp_fraction, minutes_per_session, stone_strokes`` (of the
        stone, all edges together) and ``steel_mg``, each with ``_sd`` and ``_mc``. The steel by its
        cause, likewise: ``dullness_mg`` that the rounded apex alone asks for, without error of the
        hand; ``overshoot_mg`` taken after the edge was good; ``rebevel_mg``, the rest, spent on the
        bevel of today's angle, on facets, and on places less dull than the dullest, below 0 where a
        more open bevel spares what the dullness asked for. ``sessions_p10, _p50, _p90``;
        ``unfinished``, the share of lives no rule ended; ``strength_left`` at the end, where a
        `MinStrength` is among the rules. ``grid_um``: by how much the mean loss per session of the
        same lives grows with twice as many stations and depths; ``grid_um_mc`` its standard error;
        both missing (NaN) where ``grid_runs`` is 0. Ends ``_low`` and ``_high`` of intervals at
        ``level`` (see `intervals`) for loss per session and sessions: ``sessions_variation_low`` …
        between lives; ``sessions_ignorance_low`` … of the mean, for want of measured constants,
        missing where ``ignorance_draws`` is 0.
    runs : DataFrame
        One row per method and run: the tidy samples behind the table.
    draws : DataFrame
        One row per method, draw of the unknown constants, and run, the same columns.
    level : float
        Of the intervals.
    """

    blade: Blade
    methods: tuple[Method | Alternation, ...]
    lives: tuple[Lives, ...]
    seed: int
    use: Use
    stations: int | None
    depths: int
    runs: pd.DataFrame
    table: pd.DataFrame
    draws: pd.DataFrame
    level: float = LEVEL

    def intervals(self, *, level: float | None = None) -> pd.DataFrame:
        """What is known of each outcome of each method, variation and ignorance apart.

        Returns
        -------
        DataFrame
            ``method``, and the columns of `LifeCase.intervals`, a row per method and outcome.

        Examples
        --------
        >>> import edgekit as ek
        >>> result = ek.compare(ek.patterns.hoe(), [ek.methods.powered()], runs=8, seed=1,
        ...                     ignorance_draws=4, grid_runs=0)
        >>> row = result.intervals().query("outcome == 'loss_um_per_session'").iloc[0]
        >>> bool(row.ignorance_low < row.value < row.ignorance_high)
        True
        """
        share = self.level if level is None else between("level", level, 0.0, 1.0)
        parts = []
        for number, method in enumerate(self.methods):
            lives, again = (part[part["number"] == number] for part in (self.runs, self.draws))
            parts.append(intervals(lives, again, share))
            parts[-1].insert(0, "method", method.name)
        return pd.concat(parts, ignore_index=True)

    def cite(self) -> str:
        """What made the comparison, in one paragraph: versions, seed, inputs."""
        size = len(self.lives[0].sessions)
        shapes = dict.fromkeys(item.grids[0].depth_mm.shape for item in self.lives)
        given = {
            "blade": repr(self.blade),
            "methods": self.methods,
            "use": self.use,
            "retired by": chosen(self.lives[0].rules),
            "nodes": " or ".join(f"{s} stations, {d} depths" for d, s in shapes),
        }
        return paragraph(f"{size} simulated lives per method", given, seed=self.seed, of=self)

    def differences(
        self, column: str = "loss_um_per_session", base: int = 0, *, level: float = LEVEL
    ) -> pd.DataFrame:
        """Paired differences from method number `base`: mean, standard error, normal interval.

        ``ignorance_low`` and ``ignorance_high``: central interval of the mean difference between
        draws of the unknown constants, which all methods share; missing where none were drawn.
        """
        half = float(ndtri(0.5 + between("level", level, 0.0, 1.0) / 2))
        numeric = [*VALUES, "sessions"]
        one_of("column", column, numeric)
        if not count("base", base, 0) < len(self.methods):
            raise BadArgument(
                "base must number a method", base, "Count the methods from 0.", argument="base"
            )
        wide = self.runs.pivot_table(index="run", columns="number", values=column).to_numpy().T
        gap = np.ascontiguousarray(wide - wide[base])
        mean, error, alone = gap.mean(axis=1), standard_error(gap), standard_error(wide)
        return pd.DataFrame(
            {
                "method": [method.name for method in self.methods],
                "difference": mean,
                "mc": error,
                "low": mean - half * error,
                "high": mean + half * error,
                "unpaired_mc": np.hypot(alone, alone[base]),
                **self._of_draws(column, base, level),
            }
        )

    def _of_draws(self, column: str, base: int, level: float) -> dict[str, FloatArray]:
        """Ends of the interval of mean differences between draws."""
        names = ["ignorance_low", "ignorance_high"]
        if self.draws.empty:
            return dict.fromkeys(names, np.full(len(self.methods), np.nan))
        means = self.draws.pivot_table(index="draw", columns="number", values=column).to_numpy().T
        return dict(zip(names, central(means - means[base], level), strict=True))

    def __repr__(self) -> str:
        lost = [f"{row.method} {row.loss_um_per_session:.1f}" for row in self.table.itertuples()]
        more = f" and {len(lost) - MAX_NAMED} more" if len(lost) > MAX_NAMED else ""
        return (
            f"{self.blade.name}, {len(self.lives[0].sessions)} lives per method: width lost per "
            f"session, µm: {', '.join(lost[:MAX_NAMED])}{more}"
        )

    def _repr_html_(self) -> str:
        lives = f"{self.blade.name}, {len(self.lives[0].sessions)} lives per method"
        table: str = self._short().to_html(index=False, float_format="{:.2f}".format)
        return html_text(lives) + table

    def _short(self) -> pd.DataFrame:
        return self.table[[*SHOWN]].rename(columns=SHOWN)


def compare(
    blade: Blade,
    methods: Sequence[Method | Alternation],
    *,
    runs: int = 200,
    seed: int,
    use: Use | None = None,
    retire: RetireRule | Sequence[RetireRule] = DEFAULT_RULES,
    stations: int | None = None,
    depths: int = DEPTHS,
    grid_runs: int = GRID_RUNS,
    ignorance_draws: int = 0,
    level: float = LEVEL,
    executor: Executor | None = None,
) -> Comparison:
    """Simulate the lives of `runs` instruments under each method, on common random numbers.

    Parameters
    ----------
    blade : Blade
    methods : sequence of Method or Alternation
    runs : int
        Lives per method.
    seed : int
        Root of all random numbers; run i depends on the seed and i only.
    use : Use, optional
    retire : RetireRule or sequence of them
    stations : int, optional
        Nodes along each edge; what each method asks for by default, see `ek.live`.
    depths : int
        Nodes down the flank.
    grid_runs : int
        Lives per method that are lived again at twice every resolution, the first of the study,
        all at most. 32 of them take six tenths of the time of 200 lives; 0 for none.
    ignorance_draws : int
        Sets of unknown constants, the same for every method, with each of which the first eight
        lives are lived again; 24 do. None by default: they take as long as the comparison.
    level : float
        Of the intervals.
    executor : concurrent.futures.Executor, optional
        What computes one method beside another, such as ``ProcessPoolExecutor(2)``; none by
        default. The numbers do not depend on it.

    Returns
    -------
    Comparison

    Raises
    ------
    BadArgument
        Not a blade or a method; a number outside its range.
    EdgekitError
        No method.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> result = ek.compare(blade, [ek.methods.freehand(), ek.methods.held(15.0)], runs=8, seed=1)
    >>> result.table["loss_um_per_session"].round().rank().tolist()
    [2.0, 1.0]
    """
    _check(methods)
    runs = count("runs", runs, 2, most=MAX_RUNS, bytes_each=RUN_BYTES * len(methods))
    again = min(count("grid_runs", grid_runs, 0), runs)
    draws = count("ignorance_draws", ignorance_draws, 0, most=MAX_DRAWS)
    rules, share = rules_of(retire), between("level", level, 0.0, 1.0)
    use = Use() if use is None else use
    case = partial(LifeCase, blade=blade, use=use, retire=rules, stations=stations, depths=depths)
    cases = [case(method=method) for method in methods]
    check_executor(executor)
    lives, refined, parts = each(_tasks(cases, seed, runs, again, draws), executor)
    samples = pd.concat(map(_samples, range(len(lives)), lives, refined), ignore_index=True)
    drawn = _numbered(parts)
    return Comparison(
        blade=blade,
        methods=tuple(methods),
        lives=tuple(lives),
        seed=seed,
        use=use,
        stations=stations,
        depths=depths,
        runs=samples,
        table=pd.DataFrame([_row(n, item, samples, drawn, share) for n, item in enumerate(lives)]),
        draws=drawn,
        level=share,
    )


def _tasks(
    cases: Sequence[LifeCase], seed: int, runs: int, again: int, draws: int
) -> list[list[Callable[[], object]]]:
    """Of each case: its lives, the first of them at twice every resolution, and with other
    constants."""
    keys, few = SeededKeys(seed, runs=runs), SeededKeys(seed, runs=again) if again else None
    return [
        [partial(case.live, keys, histories=MAX_HISTORIES) for case in cases],
        [partial(lived_finer, case, few) for case in cases],
        [partial(case.lived_again, draws=draws, runs=runs, seed=seed) for case in cases],
    ]


def _numbered(parts: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Tables of methods under each other, with the method's number."""
    return pd.concat([part.assign(number=n) for n, part in enumerate(parts)], ignore_index=True)


def _check(methods: Sequence[Method | Alternation]) -> None:
    instance("methods", methods, (list, tuple), "Give methods in a list, even if there is one.")
    if not methods:
        raise BadArgument("compare needs a method", list(methods), "Give one method or more.")
    for method in methods:
        kinds = (Method, Alternation)
        instance("method", method, kinds, "Give a method, such as methods.freehand().")


def _samples(number: int, lives: Lives, refined: Lives | None) -> pd.DataFrame:
    """One row per run."""
    columns: dict[str, object] = {
        "number": number,
        "method": lives.method.name,
        "run": np.arange(len(lives.sessions)),
        **sample_columns(lives),
        GRID: grid_column(lives, refined),
    }
    if "strength_left" in lives.final:
        columns["strength_left"] = lives.last("strength_left")
    return pd.DataFrame(columns)


def _row(
    number: int, lives: Lives, samples: pd.DataFrame, draws: pd.DataFrame, level: float
) -> dict[str, object]:
    """A row of the comparison's table."""
    samples, draws = (part[part["number"] == number] for part in (samples, draws))
    row: dict[str, object] = {"method": lives.method.name}
    extra = ("strength_left",) if "strength_left" in samples else ()
    for name in (*VALUES, *extra):
        values = samples[name].to_numpy()
        row[name] = float(values.mean())
        row[f"{name}_sd"] = float(values.std(ddof=1))
        row[f"{name}_mc"] = float(standard_error(values))
    again = samples[GRID].dropna().to_numpy()
    row[GRID] = float(again.mean()) if len(again) else np.nan
    row[f"{GRID}_mc"] = float(standard_error(again)) if len(again) else np.nan
    row |= session_percentiles(*np.unique(lives.sessions, return_counts=True))
    row["unfinished"] = float((lives.ended_by < 0).mean())
    known = intervals(samples, draws, level, HEADLINES).set_index("outcome")
    for outcome in HEADLINES:
        row |= {f"{outcome}_{end}": known.loc[outcome, end] for end in ENDS}
    return row
