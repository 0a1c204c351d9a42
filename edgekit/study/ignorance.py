"""Ignorance apart from variation: constants that nobody measured, drawn in an outer loop.

Variation is what differs between instruments, hands and sessions: the lives of a study. Ignorance
is what nobody knows about them all: how fast use dulls, what a stroke takes, how far hands err. A
draw moves each such constant within the spread that the evidence table states, and the same
instruments and hands are lived again with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
import pandas as pd
from scipy.special import ndtri

from edgekit.checks import FloatArray, count
from edgekit.errors import Cannot
from edgekit.evidence_table import Evidence, Gsd, Range, Sd, entry
from edgekit.life.use import Use
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method
from edgekit.record import set_fields
from edgekit.study.outcomes import VALUES, central

__all__ = ["CONSTANTS", "intervals"]

T = TypeVar("T")
DRAWS = 24  # at a level of 0.9 an interval is then the second from either end
MAX_DRAWS = 10_000
LIVES = 8  # of each draw; they are the same ones, so draws differ by their constants alone
ENDS = [f"{kind}_{end}" for kind in ("variation", "ignorance", "both") for end in ("low", "high")]
OUTCOMES = ("sessions", *VALUES)
REMOVAL = "removal"  # of the method's own abrasive
# Constants of the evidence table that no source measured for this work, and the fields they set.
OF_USE = {
    "dull_rate_um2_per_stroke": "law.rate",
    "toe_third_share": "density.share",
    "attrition_um_per_use": "attrition_um",
}
OF_METHOD = {
    REMOVAL: "removal_mm3_per_stroke",
    "freehand_tilt_sd_deg": "hand.tilt_deg.sd",
    "freehand_tilt_bias_sd_deg": "hand.tilt_deg.person_sd",
    "freehand_swing_sd_deg": "hand.swing_deg.sd",
    "position_sd_mm": "hand.position_mm.sd",
    "within_stroke_tilt_sd_deg": "stroke.within_tilt_sd_deg",
    "stroke_correlation_s": "stroke.correlation_s",
    "look_resolution_um": "stop.resolution_um",
}
CONSTANTS = (*OF_USE, *OF_METHOD)
_SHARES = ("density.share",)


def quantile(item: Evidence, at: FloatArray) -> FloatArray:
    """Quantiles of what is known of a constant; its value is the median.

    A range is no distribution: half of the probability is spread evenly on either side of the
    value, up to the range's ends.

    Examples
    --------
    >>> quantile(entry("toe_third_share"), np.array([0.0, 0.5, 1.0])).tolist()
    [0.5, 0.75, 1.0]
    """
    spread, middle = item.spread, item.value
    if isinstance(spread, Gsd):
        return np.asarray(middle * spread.gsd ** ndtri(at))
    if isinstance(spread, Sd):
        return np.asarray(middle + spread.sd * ndtri(at))
    if isinstance(spread, Range):
        return np.interp(at, [0.0, 0.5, 1.0], [spread.low, middle, spread.high])
    raise Cannot("this constant has no stated spread", item.name, "State one in the table.")


def drawn(draws: int, seed: int) -> list[dict[str, float]]:
    """Probabilities at which each draw takes its constants, by name: each constant's range is cut
    into as many strata as there are draws, one draw in each.
    """
    rng = np.random.default_rng([count("seed", seed, 0), len(CONSTANTS)])
    columns = [(rng.permutation(draws) + rng.random(draws)) / draws for _ in CONSTANTS]
    return [dict(zip(CONSTANTS, row, strict=True)) for row in np.array(columns).T.tolist()]


def use_with(use: Use, at: Mapping[str, float]) -> Use:
    """A use with its unknown constants at some quantiles."""
    return _with(use, {path: (entry(name), at.get(name, 0.5)) for name, path in OF_USE.items()})


def method_with(method: Method | Alternation, at: Mapping[str, float]) -> Method | Alternation:
    """A method, or each of several by turns, with its unknown constants at some quantiles."""
    if isinstance(method, Alternation):
        return replace(method, methods=tuple(_method_with(item, at) for item in method.methods))
    return _method_with(method, at)


def _method_with(method: Method, at: Mapping[str, float]) -> Method:
    constants = {
        path: (method.abrasive.removal if name == REMOVAL else entry(name), at.get(name, 0.5))
        for name, path in OF_METHOD.items()
    }
    return _with(method, constants)


def _with(record: T, constants: Mapping[str, tuple[Evidence, float]]) -> T:
    """A record whose own constants are moved as far from themselves as draws lie from the table's
    value: by the same factor, or by the same amount where the value is 0.
    """
    changes: dict[str, object] = {}
    for path, (item, at) in constants.items():
        own: object = record
        for name in path.split("."):
            own = getattr(own, name, None)
        if isinstance(own, float):
            new = float(quantile(item, np.array(at)))
            moved = own * (new / item.value) if item.value else own + new
            changes[path] = min(moved, 1.0) if path in _SHARES else moved
    return set_fields(record, changes)


def intervals(
    lives: pd.DataFrame, again: pd.DataFrame, level: float, outcomes: Sequence[str] = OUTCOMES
) -> pd.DataFrame:
    """What is known of each outcome, as `edgekit.LifeCase.intervals` has it, from lives and from
    those lived again.
    """
    names = list(outcomes)
    each = again[names].to_numpy(dtype=float).T if len(again) else np.empty((len(names), 0))
    means = again.groupby("draw")[names].mean().to_numpy().T if len(again) else each
    rows = []
    for name, one_life, mean in zip(names, each, means, strict=True):
        here = lives[name].to_numpy(dtype=float)
        ends = [*central(here, level), *central(mean, level), *central(one_life, level)]
        row = {
            "outcome": name,
            "value": here.mean(),
            **dict(zip(ENDS, map(float, ends), strict=True)),
        }
        rows.append(row)
    return pd.DataFrame(rows).assign(level=level)
