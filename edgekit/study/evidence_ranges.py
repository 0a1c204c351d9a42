"""Which inputs decide a result: each moved across its stated spread, the others at their default.

Low and high ends come from the evidence table, none is chosen here. Every case runs on the same
random numbers, so small effects show.
"""

from __future__ import annotations

from dataclasses import replace
from operator import attrgetter

import pandas as pd

from edgekit.checks import instance
from edgekit.errors import EdgekitError
from edgekit.evidence_table import Gsd, Range, entry
from edgekit.geometry.blade import Blade
from edgekit.life.dulling import PowerDulling
from edgekit.life.life import Use
from edgekit.life.retire import MaxWidthLoss
from edgekit.method.method import Method
from edgekit.study.case import LifeCase
from edgekit.study.sensitivity import one_at_a_time

__all__ = ["key_inputs"]

# The input's name in the evidence table, and the name of its field in a row.
_FIELDS = {
    "dull_rate_um2_per_stroke": "use.law",
    "dull_exponent": "use.law",
    "strokes_per_use": "use.strokes",
    "sharp_radius_um": "use.sharp_radius_um",
    "attrition_um_per_use": "use.attrition_um",
    "placements": "method.placements",
    "freehand_seatings": "method.seatings",
    "sharp_target": "method.sharp_target",
    "freehand_tilt_sd_deg": "method.hand.tilt_deg.sd",
    "freehand_tilt_bias_sd_deg": "method.hand.tilt_deg.person_sd",
    "freehand_swing_sd_deg": "method.hand.swing_deg.sd",
    "position_sd_mm": "method.hand.position_mm.sd",
    "depth_cv": "method.hand.depth.sd",
    "retire_width_fraction": "rule.fraction",
}


def _set(use: Use, name: str, value: float) -> object:
    """What the field of an input is set to for a value of the input."""
    law = use.law
    if name == "dull_rate_um2_per_stroke" and isinstance(law, PowerDulling):
        return replace(law, rate=value)
    if name == "dull_exponent" and isinstance(law, PowerDulling):  # the same radius after one use
        return PowerDulling.through(
            radius_um=float(law.after(use.sharp_radius_um, use.strokes)),  # type: ignore[arg-type]
            strokes=use.strokes,
            sharp_radius_um=use.sharp_radius_um,
            exponent=value,
        )
    return int(value) if name in ("placements", "freehand_seatings") else value


def _ends(name: str) -> tuple[float, float]:
    item = entry(name)
    if isinstance(item.spread, Gsd):
        return item.value / item.spread.gsd, item.value * item.spread.gsd
    if isinstance(item.spread, Range):
        return item.spread.low, item.spread.high
    raise EdgekitError("this input has no stated spread", name, "State one in the evidence table.")


def key_inputs(
    blade: Blade, method: Method, *, use: Use | None = None, runs: int = 60, seed: int
) -> pd.DataFrame:
    """Loss and life with each input at the low and at the high end of its spread.

    Parameters
    ----------
    blade : Blade
    method : Method
        A side-grinding method; its hand's errors are the ones that are moved.
    use : Use, optional
    runs : int
        Lives per case.
    seed : int

    Returns
    -------
    DataFrame
        One row per input of the case, the one that moves the loss most first: ``input,
        status, low, high, loss_um_at_low, loss_um_at_high, loss_um_default, sessions_at_low,
        sessions_at_high, swing_um``.

    Examples
    --------
    >>> import edgekit as ek
    >>> table = ek.key_inputs(
    ...     ek.patterns.area_specific_curette(), ek.methods.freehand(), runs=8, seed=1)
    >>> bool(table["swing_um"].iloc[0] >= table["swing_um"].iloc[-1])
    True
    """
    instance("blade", blade, Blade, "Make one with edgekit.patterns, or read_blade.")
    instance("method", method, Method, "Make one with edgekit.methods.")
    case = LifeCase(blade=blade, method=method, use=use or Use(), rules=(MaxWidthLoss(),))
    power = isinstance(case.use.law, PowerDulling)
    fields = {name: field for name, field in _FIELDS.items() if power or field != "use.law"}
    base = {field: _default(case, field) for field in fields.values()}
    ranges = {name: _ends(name) for name in fields}
    ends = [
        (fields[name], _set(case.use, name, low), _set(case.use, name, high))
        for name, (low, high) in ranges.items()
    ]
    table = one_at_a_time(case, base, ends, runs=runs, seed=seed, progress=False, summary=True)
    loss, life = (table[c].to_numpy() for c in ("loss_um_per_session", "sessions_p50"))
    table = pd.DataFrame(
        {
            "input": [*fields],
            "status": [entry(name).status.value for name in fields],
            "low": [low for low, _ in ranges.values()],
            "high": [high for _, high in ranges.values()],
            "loss_um_at_low": loss[1::2],
            "loss_um_at_high": loss[2::2],
            "loss_um_default": loss[0],
            "sessions_at_low": life[1::2],
            "sessions_at_high": life[2::2],
            "swing_um": abs(loss[2::2] - loss[1::2]),
        }
    )
    return table.sort_values("swing_um", ascending=False, ignore_index=True)


def _default(case: LifeCase, field: str) -> object:
    """The value that a field of a row has in a case."""
    owner, _, path = field.partition(".")
    return attrgetter(path)(case.rules[0] if owner == "rule" else getattr(case, owner))
