"""Methods compared on one blade, on the same instruments and hands, with their spread.

Run i of every method draws from the same child of the seed, in the same order: the instrument dulls
alike and the person makes the same errors. Differences between methods are therefore paired, and
far better known than the means themselves.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from edgekit.checks import count, instance
from edgekit.display import html_table, html_text
from edgekit.errors import EdgekitError
from edgekit.geometry.blade import Blade
from edgekit.grinding.random_streams import SeededKeys
from edgekit.life.life import LIFE_DEPTHS, LIFE_STATIONS, Lives, Use, live_runs, rules_of
from edgekit.life.retire import DEFAULT_RULES, RetireRule
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method
from edgekit.record import Record
from edgekit.study.outcomes import (
    SESSIONS,
    VALUES,
    sample_columns,
    session_percentiles,
    standard_error,
)

__all__ = ["Comparison", "compare"]

MAX_HISTORIES = 2000  # lives per method of which every session is kept
MAX_RUNS = 5_000_000
RUN_BYTES = 500  # of one life in the samples and their tables
HEADLINE = ["method", "loss_um_per_session", "loss_um_per_session_mc", *SESSIONS]


class Comparison(Record):
    """Methods side by side.

    Attributes
    ----------
    table : DataFrame
        One row per method. ``loss_um_per_session`` (mean width loss over the sides), its ``_sd``
        between runs and ``_mc`` the Monte-Carlo standard error of the mean; the deepest loss
        likewise; per-session means ``ridge_um, angle_error_deg, angle_rms_deg, sharp_fraction,
        minutes_per_session, steel_mg``, each with ``_sd`` and ``_mc``; ``sessions_p10, _p50,
        _p90``; ``unfinished``, the share of lives no rule ended; ``strength_left`` at the end,
        where a `MinStrength` is among the rules.
    runs : DataFrame
        One row per method and run: the tidy samples behind the table.
    """

    blade: Blade
    methods: tuple[Method | Alternation, ...]
    lives: tuple[Lives, ...]
    seed: int
    runs: pd.DataFrame
    table: pd.DataFrame

    def differences(self, column: str = "loss_um_per_session", base: int = 0) -> pd.DataFrame:
        """Paired differences from method number `base`: mean, standard error and 95 % interval."""
        numeric = [*VALUES, "sessions"]
        if column not in numeric:
            raise EdgekitError("no such column of numbers", column, f"Choose from {numeric}.")
        if not count("base", base, 0) < len(self.methods):
            raise EdgekitError("base must number a method", base, "Count the methods from 0.")
        wide = self.runs.pivot_table(index="run", columns="number", values=column).to_numpy().T
        rows = []
        for method, values in zip(self.methods, wide, strict=True):
            gap = values - wide[base]
            mean, error = float(gap.mean()), standard_error(gap)
            unpaired = np.hypot(standard_error(values), standard_error(wide[base]))
            rows.append(
                {
                    "method": method.name,
                    "difference": mean,
                    "mc": error,
                    "low": mean - 1.96 * error,
                    "high": mean + 1.96 * error,
                    "unpaired_mc": float(unpaired),
                }
            )
        return pd.DataFrame(rows)

    def __repr__(self) -> str:
        return self.table[HEADLINE].to_string(index=False, float_format="{:.2f}".format)

    def _repr_html_(self) -> str:
        rows = [
            {
                "method": row.method,
                "width lost per session, µm (± sd between lives)": (
                    f"{row.loss_um_per_session:.1f} ± {row.loss_um_per_session_sd:.1f}"
                ),
                "Monte-Carlo error of the mean, µm": f"{row.loss_um_per_session_mc:.2f}",
                "sessions, p10 – median – p90": (
                    f"{row.sessions_p10:.0f} – {row.sessions_p50:.0f} – {row.sessions_p90:.0f}"
                ),
                "angle error, °": f"{row.angle_error_deg:+.1f}",
                "sharp": f"{row.sharp_fraction:.0%}",
                "minutes per session": f"{row.minutes_per_session:.1f}",
            }
            for row in self.table.itertuples()
        ]
        lives = f"{self.blade.name}, {len(self.lives[0].sessions)} lives per method"
        return html_text(lives) + html_table([*rows[0]], ([*row.values()] for row in rows))


def compare(
    blade: Blade,
    methods: Sequence[Method | Alternation],
    *,
    runs: int = 200,
    seed: int,
    use: Use | None = None,
    retire: RetireRule | Sequence[RetireRule] = DEFAULT_RULES,
    stations: int = LIFE_STATIONS,
    depths: int = LIFE_DEPTHS,
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
    stations, depths : int
        Nodes of the field.

    Returns
    -------
    Comparison

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> result = ek.compare(blade, [ek.methods.freehand(), ek.methods.held(15.0)], runs=8, seed=1)
    >>> result.table["loss_um_per_session"].round().rank().tolist()
    [2.0, 1.0]
    """
    instance("methods", methods, (list, tuple), "Give methods in a list, even if there is one.")
    if not methods:
        raise EdgekitError("compare needs a method", list(methods), "Give one method or more.")
    remedy = "Give a method, such as methods.freehand()."
    for method in methods:
        instance("method", method, (Method, Alternation), remedy)
    count("runs", runs, 2, most=MAX_RUNS, bytes_each=RUN_BYTES * len(methods))
    rules = rules_of(retire)
    lives = [
        live_runs(
            blade,
            method,
            use=Use() if use is None else use,
            rules=rules,
            rngs=SeededKeys(seed, runs=runs),
            stations=stations,
            depths=depths,
            histories=MAX_HISTORIES,
        )
        for method in methods
    ]
    samples = pd.concat([_samples(n, item) for n, item in enumerate(lives)], ignore_index=True)
    return Comparison(
        blade=blade,
        methods=tuple(methods),
        lives=tuple(lives),
        seed=seed,
        runs=samples,
        table=pd.DataFrame([_row(n, item, samples) for n, item in enumerate(lives)]),
    )


def _samples(number: int, lives: Lives) -> pd.DataFrame:
    """One row per run."""
    columns: dict[str, object] = {
        "number": number,
        "method": lives.method.name,
        "run": np.arange(len(lives.sessions)),
        **sample_columns(lives),
    }
    if "strength_left" in lives.final:
        columns["strength_left"] = lives.last("strength_left")
    return pd.DataFrame(columns)


def _row(number: int, lives: Lives, samples: pd.DataFrame) -> dict[str, object]:
    """A row of the comparison's table."""
    samples = samples[samples["number"] == number]
    row: dict[str, object] = {"method": lives.method.name}
    extra = ("strength_left",) if "strength_left" in samples else ()
    for name in (*VALUES, *extra):
        values = samples[name].to_numpy()
        row[name] = float(values.mean())
        row[f"{name}_sd"] = float(values.std(ddof=1))
        row[f"{name}_mc"] = standard_error(values)
    row |= session_percentiles(lives.sessions)
    row["unfinished"] = float((lives.ended_by < 0).mean())
    return row
