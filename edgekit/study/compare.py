"""Methods compared on one blade, on the same instruments and hands, with their spread.

Run i of every method draws from the same child of the seed, in the same order: the instrument dulls alike, the
person errs alike. Differences between methods are therefore paired, and far better known than the
means themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import count, instance
from edgekit.errors import EdgekitError
from edgekit.geometry.blade import Blade
from edgekit.grinding.random_streams import SeededKeys
from edgekit.life.life import (
    LIFE_DEPTHS,
    LIFE_STATIONS,
    Lives,
    Use,
    live_runs,
    rules_of,
)
from edgekit.life.retire import DEFAULT_RULES, RetireRule
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method
from edgekit.study.outcomes import VALUES, sample_columns, standard_error

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Comparison", "compare"]

MAX_HISTORIES = 2000  # lives a method of which every session is kept


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Methods side by side.

    Attributes
    ----------
    table : DataFrame
        A row a method. ``loss_um_per_session`` (mean width loss over the sides), its ``_sd`` between
        runs and ``_mc`` the Monte-Carlo standard error of the mean; the deepest loss likewise;
        ``ridge_um, angle_error_deg, angle_rms_deg, sharp_fraction, minutes_per_session, steel_mg`` means a
        session, each with ``_mc``; ``sessions_p10, _p50, _p90``; ``unfinished``, the share of lives no rule ended;
        ``strength_left`` at the end, where a `MinStrength` is among the rules.
    runs : DataFrame
        A row a method and run: the tidy samples behind the table.
    """

    blade: Blade
    methods: tuple[Method | Alternation, ...]
    lives: tuple[Lives, ...]
    seed: int
    runs: pd.DataFrame
    table: pd.DataFrame

    def differences(self, column: str = "loss_um_per_session", base: int = 0) -> pd.DataFrame:
        """Paired differences from method number `base`: mean, standard error and 95 % interval."""
        import pandas as pd

        numeric = [*VALUES, "sessions"]
        if column not in numeric:
            raise EdgekitError("no such column of numbers", column, f"Choose from {numeric}.")
        if not count("base", base, 0) < len(self.methods):
            raise EdgekitError("base must number a method", base, "Count the methods from 0.")
        wide = self.runs.pivot_table(index="run", columns="number", values=column)
        rows = []
        for number, method in enumerate(self.methods):
            gap = (wide[number] - wide[base]).to_numpy()
            mean, error = float(gap.mean()), standard_error(gap)
            rows.append(
                {
                    "method": method.name,
                    "difference": mean,
                    "mc": error,
                    "low": mean - 1.96 * error,
                    "high": mean + 1.96 * error,
                    "unpaired_mc": float(
                        np.hypot(
                            standard_error(wide[number].to_numpy()),
                            standard_error(wide[base].to_numpy()),
                        )
                    ),
                }
            )
        return pd.DataFrame(rows)

    def __repr__(self) -> str:
        columns = [
            "method",
            "loss_um_per_session",
            "loss_um_per_session_mc",
            "sessions_p10",
            "sessions_p50",
            "sessions_p90",
        ]
        return self.table[columns].to_string(index=False, float_format="{:.2f}".format)

    def _repr_html_(self) -> str:
        from html import escape

        rows = "".join(
            f"<tr><td>{escape(str(row.method))}</td>"
            f"<td>{row.loss_um_per_session:.1f} ± {row.loss_um_per_session_sd:.1f}</td>"
            f"<td>{row.loss_um_per_session_mc:.2f}</td>"
            f"<td>{row.sessions_p10:.0f} – <b>{row.sessions_p50:.0f}</b> – {row.sessions_p90:.0f}</td>"
            f"<td>{row.angle_error_deg:+.1f}</td><td>{row.sharp_fraction:.0%}</td>"
            f"<td>{row.minutes_per_session:.1f}</td></tr>"
            for row in self.table.itertuples()
        )
        return (
            f"<p>{escape(self.blade.name)}, {len(self.lives[0].sessions)} lives a method</p><table>"
            "<tr><th>method</th><th>width lost a session, µm (± sd between lives)</th>"
            "<th>Monte-Carlo error of the mean, µm</th><th>sessions, p10 – median – p90</th>"
            "<th>angle error, °</th><th>sharp</th><th>minutes a session</th></tr>"
            f"{rows}</table>"
        )


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
    """Live `runs` instruments under each method, on common random numbers.

    Parameters
    ----------
    blade : Blade
    methods : sequence of Method or Alternation
    runs : int
        Lives a method.
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
    import pandas as pd

    instance("methods", methods, (list, tuple), "Give methods in a list, even if there is one.")
    if not methods:
        raise EdgekitError("compare needs a method", list(methods), "Give one method or more.")
    for method in methods:
        instance(
            "method", method, (Method, Alternation), "Give a method, such as methods.freehand()."
        )
    count("runs", runs, 2)
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
    """A row a run."""
    import pandas as pd

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
    mine = samples[samples["number"] == number]
    row: dict[str, object] = {"method": lives.method.name}
    extra = ("strength_left",) if "strength_left" in samples else ()
    for name in (*VALUES, *extra):
        values = mine[name].to_numpy()
        row[name] = float(values.mean())
        row[f"{name}_sd"] = float(values.std(ddof=1))
        row[f"{name}_mc"] = standard_error(values)
    for share in (10, 50, 90):
        row[f"sessions_p{share}"] = float(np.percentile(lives.sessions, share))
    row["unfinished"] = float((lives.ended_by < 0).mean())
    return row
