"""Which inputs decide a result: each one moved across its stated spread, all others at their default.

Low and high ends come from the evidence table, none is chosen here. Every case runs on the same
random numbers, so small effects show.
"""

from __future__ import annotations

from dataclasses import replace
from functools import reduce
from typing import TYPE_CHECKING

from edgekit.errors import EdgekitError
from edgekit.evidence_table import Gsd, Range, entry
from edgekit.geometry.blade import Blade
from edgekit.life.dulling import PowerDulling
from edgekit.life.life import Use
from edgekit.life.retire import MaxWidthLoss
from edgekit.method.method import Method
from edgekit.study.case import LifeCase
from edgekit.study.sensitivity import one_at_a_time

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["key_inputs"]

# The input's name in the evidence table, and the field of a study that holds it.
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
_COUNTS = ("placements", "freehand_seatings")


def _set(use: Use, name: str, value: float) -> object:
    """What the field of an input is given for a value of the input."""
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
    return int(value) if name in _COUNTS else value


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
        Lives a case.
    seed : int

    Returns
    -------
    DataFrame
        A row an input that the study has, the one that moves the loss most first: ``input, status, low, high,
        loss_um_at_low, loss_um_at_high, loss_um_default, sessions_at_low, sessions_at_high, swing_um``.

    Examples
    --------
    >>> import edgekit as ek
    >>> table = ek.key_inputs(
    ...     ek.patterns.area_specific_curette(), ek.methods.freehand(), runs=8, seed=1)
    >>> bool(table["swing_um"].iloc[0] >= table["swing_um"].iloc[-1])
    True
    """
    import pandas as pd

    task = LifeCase(blade=blade, method=method, use=use or Use(), rules=(MaxWidthLoss(),))
    parts = {"method": method, "use": task.use, "rule": task.rules[0]}
    names = [
        name
        for name, field in _FIELDS.items()
        if field != "use.law" or isinstance(task.use.law, PowerDulling)
    ]
    base, ends = {}, []
    for name in names:
        owner, *path = _FIELDS[name].split(".")
        base[_FIELDS[name]] = reduce(getattr, path, parts[owner])
        low, high = (_set(task.use, name, end) for end in _ends(name))
        ends.append((_FIELDS[name], low, high))
    found = one_at_a_time(task, base, ends, runs=runs, seed=seed, progress=False, summary=True)
    loss, life = (found[c].to_numpy() for c in ("loss_um_per_session", "sessions_p50"))
    table = pd.DataFrame(
        {
            "input": names,
            "status": [entry(name).status.value for name in names],
            "low": [_ends(name)[0] for name in names],
            "high": [_ends(name)[1] for name in names],
            "loss_um_at_low": loss[1::2],
            "loss_um_at_high": loss[2::2],
            "loss_um_default": loss[0],
            "sessions_at_low": life[1::2],
            "sessions_at_high": life[2::2],
            "swing_um": abs(loss[2::2] - loss[1::2]),
        }
    )
    return table.sort_values("swing_um", ascending=False, ignore_index=True)
