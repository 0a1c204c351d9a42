"""Compare the model's loss per session with the log's, and update each by the other.

For a pattern and method the model gives a mean loss and its spread between lives (people, stones,
dullness: `edgekit.study.compare`). The log gives a loss of each group and edge with a standard
deviation. `update_loss` joins the two on a linear scale: a normal prior with the model's mean and
spread, a normal observation with the log's. The log's edge already borrows from its group, never
from the model, so nothing counts twice. The inputs that differed between the model's lives, dull
radius and angle error, are corrected by the group's loss through `update_inputs`.
"""

from collections.abc import Callable, Mapping
from functools import partial

import numpy as np
import pandas as pd

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.forecasting.crossing_time import bounded, two_sided_z
from edgekit.clinic.forecasting.forecast import Forecast
from edgekit.clinic.forecasting.update import Scale, update_inputs, update_loss
from edgekit.clinic.log.history import ServiceStatus
from edgekit.clinic.tray import PATTERNS
from edgekit.errors import Cannot
from edgekit.geometry.blade import Blade
from edgekit.life.life import Use
from edgekit.method.method import Method
from edgekit.record import Record
from edgekit.study.compare import Comparison, compare
from edgekit.units import UM_PER_MM

__all__ = ["ModelCheck", "compare_with_model"]

INPUTS = (("dull_radius_um", "µm", Scale.LOG), ("angle_rms_deg", "°", Scale.LOG))
SURPRISING = 2.0
"""Standard deviations of the difference beyond which the model itself is in doubt."""
MAX_RUNS = 100_000
"""Lives of one model; a hundred tell its mean loss and spread, ten thousand their third digit."""


Models = Mapping[tuple[str, str], tuple[Comparison, float]]
"""By pattern and method: the model's lives, and the share of their loss that one edge bears."""


class ModelCheck(Record):
    """Forecast and model side by side.

    Attributes
    ----------
    table : pandas.DataFrame
        The forecast's table with, after the loss per session, ``model_um_per_session`` and
        ``updated_um_per_session``, each with low and high, then ``surprise`` (log less model in
        standard deviations of the difference), ``updated_sessions_left`` (the margin at the
        updated loss; infinite where that is not above 0) and ``model`` (which model, or that none
        was given: the numbers are then NaN, and the updated ones the log's).
    groups : pandas.DataFrame
        The same, one row per pattern and method.
    inputs : pandas.DataFrame
        ``pattern, method, input, unit, before, before_sd, after, after_sd, removed``: mean and
        standard deviation of each uncertain input, and the share of its variance that the log
        removed.
    level : float
    """

    table: pd.DataFrame
    groups: pd.DataFrame
    inputs: pd.DataFrame
    level: float

    def __repr__(self) -> str:
        known = self.groups[self.groups["model_um_per_session"].notna()]
        odd = known[known["surprise"].abs() > SURPRISING]
        names = "; ".join(f"{row.pattern}, {row.method}" for row in odd.itertuples())
        doubt = f"; the model is in doubt for {names}" if names else ""
        return (
            f"Model beside the log for {len(known)} of {len(self.groups)} groups of pattern and "
            f"method{doubt}"
        )


def compare_with_model(
    result: Forecast,
    *,
    methods: Mapping[str, Method | Callable[[Blade], Method]],
    blades: Mapping[str, Blade] | None = None,
    seed: int,
    runs: int = 100,
    use: Use | None = None,
    edges_share_width: bool = False,
) -> ModelCheck:
    """Compare the model's loss per session with that of a forecast.

    Parameters
    ----------
    result : Forecast
    methods : mapping of the log's method to Method, or to a function of a Blade
        A holder's setting depends on the blade.
    blades : mapping of the log's pattern to Blade, optional
        The patterns of those names, with their default shapes, if not given.
    seed, runs : int
        Of the model's lives, see `edgekit.study.compare`.
    use : Use, optional
        What happens between sessions.
    edges_share_width : bool
        True where the log's width of one edge also falls when the other is sharpened, so that a
        session of both costs it both losses. False where each edge's width is its own.

    Returns
    -------
    ModelCheck

    Raises
    ------
    BadArgument
        Not a forecast; fewer than 20 runs.
    EdgekitError
        No pattern and method of the log has both a blade and a method.

    Examples
    --------
    >>> import pandas as pd
    >>> import edgekit as ek
    >>> log = ek.read_log(pd.DataFrame({
    ...     "instrument": "FH-01-HO", "edge": "edge", "pattern": "hoe", "method": "held",
    ...     "date": pd.date_range("2025-01-06", periods=5, freq="14D"),
    ...     "event": ["measured", "sharpened", "measured", "sharpened", "measured"],
    ...     "width_mm": [1.500, None, 1.493, None, 1.484]}))
    >>> result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))
    >>> both = compare_with_model(result, methods={"held": ek.methods.held(55.0)}, seed=1, runs=20)
    >>> row = both.table.iloc[0]
    >>> low, high = sorted([row["loss_um_per_session"], row["model_um_per_session"]])
    >>> bool(low < row["updated_um_per_session"] < high)
    True
    """
    checks.instance("result", result, Forecast, "Give what ek.forecast(log, retire=…) returns.")
    runs = checks.count("runs", runs, 20, most=MAX_RUNS)
    checks.flag("edges_share_width", edges_share_width)
    checks.instance("methods", methods, Mapping, "Give a dictionary of the log's words to methods.")
    blades = {name: make() for name, make in PATTERNS.items()} if blades is None else blades
    checks.instance("blades", blades, Mapping, "Give a dictionary of the log's words to blades.")
    known = result.groups
    lived = partial(compare, runs=runs, seed=seed, use=use)
    models: dict[tuple[str, str], tuple[Comparison, float]] = {}
    for pattern, name in zip(known["pattern"], known["method"], strict=True):
        if pattern in blades and name in methods:
            blade, given = blades[pattern], methods[name]
            share = 1.0 if edges_share_width else 1 / len(blade.edges)
            method = given(blade) if callable(given) else given
            models[pattern, name] = lived(blade, [method]), share
    if not models:
        words = sorted({*known["pattern"], *known["method"]})
        remedy = "Name blades and methods by the log's own words."
        raise Cannot("no pattern and method of the log has a model", words, remedy)
    z = two_sided_z(result.level)
    groups = _joined(known, result.groups_sd_um, models, z)
    table = _joined(result.table, result.loss_sd_um, models, z)
    margin = (table["width_mm"] - table["limit_mm"]).to_numpy() * UM_PER_MM
    loss = table["updated_um_per_session"].to_numpy()
    left = np.where(loss > 0, np.maximum(margin, 0.0) / np.where(loss > 0, loss, 1.0), np.inf)
    in_use = table["status"] == ServiceStatus.IN_USE
    table["updated_sessions_left"] = np.where(in_use, left, 0.0)
    inputs = _inputs(groups, result.groups_sd_um, models)
    return ModelCheck(table=table, groups=groups, inputs=inputs, level=result.level)


def _joined(table: pd.DataFrame, sd_um: FloatArray, models: Models, z: float) -> pd.DataFrame:
    """A table with the model's loss and the updated one beside the log's."""
    out = table.copy()
    keys = list(zip(table["pattern"], table["method"], strict=True))
    has = np.array([key in models for key in keys], dtype=bool)
    mean, sd, surprise = np.full((3, len(keys)), np.nan)
    for at in np.flatnonzero(has):
        lives, share = models[keys[at]]
        row = lives.table.iloc[0]
        mean[at] = share * row["loss_um_per_session"]
        sd[at] = share * np.hypot(row["loss_um_per_session_sd"], row["loss_um_per_session_mc"])
    log = table["loss_um_per_session"].to_numpy(dtype=np.float64)
    after, after_sd = log.copy(), sd_um.copy()
    joint = update_loss((mean[has], sd[has]), (log[has], sd_um[has]))
    after[has], after_sd[has], surprise[has] = joint.mean, joint.sd, joint.surprise
    place = list(out.columns).index("loss_um_per_session_high") + 1
    columns = {
        **bounded("model_um_per_session", mean, z * sd),
        **bounded("updated_um_per_session", after, z * after_sd),
        "surprise": surprise,
    }
    for step, (name, values) in enumerate(columns.items()):
        out.insert(place + step, name, values)
    out["model"] = [
        models[key][0].methods[0].name if key in models else "no model given" for key in keys
    ]
    return out


def _inputs(groups: pd.DataFrame, sd_um: FloatArray, models: Models) -> pd.DataFrame:
    """The uncertain inputs of each model before and after the log's loss."""
    tables = []
    known = zip(
        groups["pattern"], groups["method"], groups["loss_um_per_session"], sd_um, strict=True
    )
    for pattern, method, *observed in known:
        if (pattern, method) not in models:
            continue
        lives, share = models[pattern, method]
        inputs = [item for item in INPUTS if np.ptp(lives.runs[item[0]]) > 0]
        names, units, scales = zip(*inputs, strict=True)
        drawn = lives.runs[list(names)].to_numpy()
        loss = share * lives.runs["loss_um_per_session"].to_numpy()
        updated = update_inputs(drawn, loss, (observed[0], observed[1]), scales=scales)
        columns = {
            "pattern": pattern,
            "method": method,
            "input": names,
            "unit": units,
            "before": [column.mean() for column in drawn.T],
            "before_sd": [column.std(ddof=1) for column in drawn.T],
            "after": updated.mean,
            "after_sd": updated.sd,
            "removed": updated.pull,
        }
        tables.append(pd.DataFrame(columns))
    return pd.concat(tables, ignore_index=True)
