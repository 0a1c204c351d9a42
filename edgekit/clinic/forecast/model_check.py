"""The model's loss per session beside the log's, and what each makes of the other.

For a pattern and method the model gives a mean loss and its spread between lives (people, stones,
dullness: `edgekit.study.compare`). The log gives a loss of each group and edge with a standard
deviation. Both are joined by `update_loss` on a linear scale: a normal prior with the model's mean and spread,
a normal observation with the log's. The log's edge already borrows from its group, never from the
model, so nothing counts twice. The inputs that differed between the model's lives, dull radius and angle
error, are corrected by the group's loss through `update_inputs`.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.forecast.forecast import Forecast
from edgekit.clinic.forecast.update import Scale, update_inputs, update_loss
from edgekit.clinic.tray import PATTERNS
from edgekit.errors import EdgekitError
from edgekit.geometry.blade import Blade
from edgekit.life.life import Use
from edgekit.method.method import Method
from edgekit.study.compare import Comparison, compare

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ModelCheck", "compare_with_model"]

INPUTS = (("dull_radius_um", "µm", Scale.LOG), ("angle_rms_deg", "°", Scale.LOG))
SURPRISING = 2.0
"""Standard deviations of the difference beyond which the model itself is in doubt."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ModelCheck:
    """Forecast and model side by side.

    Attributes
    ----------
    table : pandas.DataFrame
        The forecast's table with, after the loss per session, ``model_um_per_session`` and
        ``updated_um_per_session``, each with low and high, then ``surprise`` (log less model in standard
        deviations of the difference), ``updated_sessions_left`` (the margin at the updated loss; infinite
        where that is not above 0) and ``model`` (which model, or that there is none: the numbers
        are then NaN, and the updated ones the log's).
    groups : pandas.DataFrame
        The same, a row a pattern and method.
    inputs : pandas.DataFrame
        ``pattern, method, input, unit, before, before_sd, after, after_sd, removed``: mean and standard deviation
        of each uncertain input, and the share of its variance that the log removed.
    level : float
    """

    table: pd.DataFrame
    groups: pd.DataFrame
    inputs: pd.DataFrame
    level: float

    def __repr__(self) -> str:
        told = self.groups[self.groups["model_um_per_session"].notna()]
        odd = told[told["surprise"].abs() > SURPRISING]
        names = "; ".join(f"{row.pattern}, {row.method}" for row in odd.itertuples())
        doubt = f"; the model is in doubt for {names}" if names else ""
        return (
            f"Model beside the log for {len(told)} of {len(self.groups)} groups of pattern and "
            f"method{doubt}"
        )

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(repr(self))}</p>"


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
    """Put the model's loss per session beside that of a forecast.

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

    Examples
    --------
    >>> import pandas as pd
    >>> import edgekit as ek
    >>> log = ek.read_log(pd.DataFrame({
    ...     "instrument": "FH-01-HO", "edge": "edge", "pattern": "hoe", "method": "held",
    ...     "date": pd.date_range("2025-01-06", periods=5, freq="14D"),
    ...     "event": ["measured", "sharpened", "measured", "sharpened", "measured"],
    ...     "width_mm": [1.500, None, 1.493, None, 1.484]}))
    >>> result = ek.forecast(log, retire=ek.WidthLimit(fraction=0.2))
    >>> both = compare_with_model(result, methods={"held": ek.methods.held(55.0)}, seed=1, runs=20)
    >>> row = both.table.iloc[0]
    >>> low, high = sorted([row["loss_um_per_session"], row["model_um_per_session"]])
    >>> bool(low < row["updated_um_per_session"] < high)
    True
    """
    runs = checks.count("runs", runs, 20)
    known = result.groups
    found: dict[tuple[str, str], Comparison] = {}
    if blades is None:
        blades = {name: make() for name, make in PATTERNS.items()}
    for pattern, method in zip(known["pattern"], known["method"], strict=True):
        if pattern in blades and method in methods:
            blade, way = blades[pattern], methods[method]
            one = way if isinstance(way, Method) else way(blade)
            found[pattern, method] = compare(blade, [one], runs=runs, seed=seed, use=use)
    if not found:
        raise EdgekitError(
            "no pattern and method of the log has a model",
            sorted({*known["pattern"], *known["method"]}),
            "Name blades and methods by the log's own words.",
        )
    share = {
        key: 1.0 if edges_share_width else 1 / len(item.blade.edges) for key, item in found.items()
    }
    width = _half_width(result)
    groups = _joined(known, result.groups_sd_um, found, share, width)
    table = _joined(result.table, result.loss_sd_um, found, share, width)
    margin = (table["width_mm"] - table["limit_mm"]).to_numpy() * 1e3
    loss = table["updated_um_per_session"].to_numpy()
    left = np.where(loss > 0, np.maximum(margin, 0.0) / np.where(loss > 0, loss, 1.0), np.inf)
    table["updated_sessions_left"] = np.where(table["status"] == "in use", left, 0.0)
    return ModelCheck(
        table=table,
        groups=groups,
        inputs=_inputs(groups, result.groups_sd_um, found, share),
        level=result.level,
    )


def _half_width(result: Forecast) -> float:
    """Standard deviations of a normal variable on either side of the middle `level`."""
    from scipy import stats

    return float(stats.norm.ppf(0.5 + result.level / 2))


def _joined(
    table: pd.DataFrame,
    sd_um: FloatArray,
    found: Mapping[tuple[str, str], Comparison],
    share: Mapping[tuple[str, str], float],
    z: float,
) -> pd.DataFrame:
    """A table with the model's loss and the updated one beside the log's."""
    out = table.copy()
    keys = list(zip(table["pattern"], table["method"], strict=True))
    has = np.array([key in found for key in keys], dtype=bool)
    nan = np.full(len(keys), np.nan)
    mean, sd = nan.copy(), nan.copy()
    for at in np.flatnonzero(has):
        row, part = found[keys[at]].table.iloc[0], share[keys[at]]
        mean[at] = part * row["loss_um_per_session"]
        sd[at] = part * np.hypot(row["loss_um_per_session_sd"], row["loss_um_per_session_mc"])
    log = table["loss_um_per_session"].to_numpy(dtype=np.float64)
    after, after_sd, surprise = log.copy(), sd_um.copy(), nan.copy()
    joint = update_loss((mean[has], sd[has]), (log[has], sd_um[has]))
    after[has], after_sd[has], surprise[has] = joint.mean, joint.sd, joint.surprise
    place = list(out.columns).index("loss_um_per_session_high") + 1
    columns = {
        "model_um_per_session": mean,
        "model_um_per_session_low": mean - z * sd,
        "model_um_per_session_high": mean + z * sd,
        "updated_um_per_session": after,
        "updated_um_per_session_low": after - z * after_sd,
        "updated_um_per_session_high": after + z * after_sd,
        "surprise": surprise,
    }
    for step, (name, values) in enumerate(columns.items()):
        out.insert(place + step, name, values)
    out["model"] = [
        found[key].methods[0].name if key in found else "no model given" for key in keys
    ]
    return out


def _inputs(
    groups: pd.DataFrame,
    sd_um: FloatArray,
    found: Mapping[tuple[str, str], Comparison],
    share: Mapping[tuple[str, str], float],
) -> pd.DataFrame:
    """The uncertain inputs of each model before and after the log's loss."""
    import pandas as pd

    rows = []
    for at, row in enumerate(groups.itertuples()):
        key = (str(row.pattern), str(row.method))
        if key not in found:
            continue
        lives = found[key].runs
        drawn = lives[[name for name, _, _ in INPUTS]].to_numpy()
        loss = share[key] * lives["loss_um_per_session"].to_numpy()
        keep = drawn.std(axis=0) > 0
        scales = tuple(item[2] for item, kept in zip(INPUTS, keep, strict=True) if kept)
        observed = (float(groups["loss_um_per_session"].iloc[at]), float(sd_um[at]))
        after = update_inputs(drawn[:, keep], loss, observed, scales=scales)
        names = [item[:2] for item, kept in zip(INPUTS, keep, strict=True) if kept]
        for k, (name, unit) in enumerate(names):
            before = drawn[:, keep][:, k]
            rows.append(
                (
                    *key,
                    name,
                    unit,
                    before.mean(),
                    before.std(ddof=1),
                    after.mean[k],
                    after.sd[k],
                    after.pull[k],
                )
            )
    columns = ["pattern", "method", "input", "unit", "before", "before_sd", "after", "after_sd"]
    return pd.DataFrame(rows, columns=[*columns, "removed"])
