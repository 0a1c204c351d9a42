"""Which inputs decide a result: each moved across its stated spread, the others at their default.

Low and high ends come from the evidence table, none is chosen here; of the model of a stroke and of
the stop rule, the two ends are the other models. Every case runs on the same random numbers, so
small effects show.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from operator import attrgetter

import numpy as np
import pandas as pd

from edgekit.checks import instance
from edgekit.errors import Cannot
from edgekit.evidence_table import Evidence, Gsd, Range, entry
from edgekit.geometry.blade import Blade
from edgekit.life.dulling import PowerDulling
from edgekit.life.life import Use, rules_of
from edgekit.life.retire import MaxWidthLoss
from edgekit.method.method import Method, Target
from edgekit.method.stop import Counted, UntilClear, UntilFresh
from edgekit.method.strokes import LocalStroke, RollingStroke
from edgekit.record import UnknownField
from edgekit.study.case import LifeCase
from edgekit.study.sensitivity import one_at_a_time

__all__ = ["key_inputs"]

# The input's name in the evidence table, and the name of its field in a row.
_FIELDS = {
    "dull_rate_um2_per_stroke": "use.law",
    "dull_exponent": "use.law",
    "strokes_per_use": "use.strokes",
    "toe_third_share": "use.density.share",
    "sharp_radius_um": "use.sharp_radius_um",
    "attrition_um_per_use": "use.attrition_um",
    "placements": "method.stroke.placements",
    "strokes_per_placement": "method.stroke.strokes_per_placement",
    "within_stroke_tilt_sd_deg": "method.stroke.within_tilt_sd_deg",
    "stroke_correlation_s": "method.stroke.correlation_s",
    "sharp_target": "method.stop.fraction",
    "look_resolution_um": "method.stop.resolution_um",
    "strokes_between_looks": "method.stop.strokes_between_looks",
    "stone_strokes_counted": "method.stop.strokes",
    "freehand_tilt_sd_deg": "method.hand.tilt_deg.sd",
    "freehand_tilt_bias_sd_deg": "method.hand.tilt_deg.person_sd",
    "freehand_swing_sd_deg": "method.hand.swing_deg.sd",
    "position_sd_mm": "method.hand.position_mm.sd",
    "depth_cv": "method.hand.depth.sd",
    "retire_width_fraction": "rule.fraction",
}
_REMOVAL = "method.removal_mm3_per_stroke"
_COUNTS = ("placements", "strokes_per_placement", "strokes_between_looks", "stone_strokes_counted")
_NOT_OF_PLANES = ("method.stop.strokes_between_looks", _REMOVAL)  # these do not move their loss
_NOT_OF_ROLLING = ("method.hand.depth.sd",)


def _fields(case: LifeCase, method: Method) -> dict[Evidence, str]:
    """The inputs that a case has, and the fields that they set."""
    power = isinstance(case.use.law, PowerDulling)
    every = {entry(name): field for name, field in _FIELDS.items()}
    every[method.abrasive.removal] = _REMOVAL
    idle = _NOT_OF_ROLLING if method.rolls else _NOT_OF_PLANES
    return {
        item: field
        for item, field in every.items()
        if field not in idle and (power or field != "use.law") and _has(case, field)
    }


def _has(case: LifeCase, field: str) -> bool:
    try:
        case.check_names({field: None})
    except UnknownField:
        return False
    return True


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
    return int(value) if name in _COUNTS else value


def _ends(item: Evidence) -> tuple[float, float]:
    if isinstance(item.spread, Gsd):
        return item.value / item.spread.gsd, item.value * item.spread.gsd
    if isinstance(item.spread, Range):
        return item.spread.low, item.spread.high
    raise Cannot("this input has no stated spread", item.name, "State one in the evidence table.")


def _models(method: Method) -> dict[str, Mapping[str, Method]]:
    """Other models of a method's stroke and of when it stops: two of each, by name."""
    if method.target is Target.FACE:
        return {}
    direction = method.stroke.direction
    fraction = getattr(method.stop, "fraction", UntilFresh().fraction)
    rolling, planes = RollingStroke(direction=direction), LocalStroke(direction=direction)
    clear = UntilClear(fraction=fraction)
    strokes = {
        "rolling": replace(method, stroke=rolling, stop=UntilFresh(fraction=fraction)),
        "local": replace(method, stroke=planes, stop=clear),
    }
    if not method.rolls:
        return {"stroke model": strokes | {"local": method}}
    rules = {"counted": replace(method, stop=Counted()), "clear": replace(method, stop=clear)}
    return {"stroke model": strokes | {"rolling": method}, "stop rule": rules}


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
        sessions_at_high, swing_um``. ``stroke model`` runs from rolling to local strokes; ``stop
        rule``, of a rolling stroke, from a count to a clear edge: there ``low`` and ``high`` are
        names. Inputs that do not bear on the method, such as placements where it rolls, are left
        out.

    Notes
    -----
    Rolling strokes take some hundred times as long as local ones; the table takes about
    forty times as long as a comparison of as many lives.

    Raises
    ------
    BadArgument
        Not a blade or a method; a number outside its range.

    Examples
    --------
    >>> import edgekit as ek
    >>> by_steps = ek.methods.freehand(stroke=ek.strokes.local())
    >>> table = ek.key_inputs(ek.patterns.area_specific_curette(), by_steps, runs=8, seed=1)
    >>> bool(table["swing_um"].iloc[0] >= table["swing_um"].iloc[-1])
    True
    """
    instance("blade", blade, Blade, "Make one with edgekit.patterns, or read_blade.")
    instance("method", method, Method, "Make one with edgekit.methods.")
    instance("use", use, (Use, type(None)), "Give a Use, such as ek.Use(strokes=30).")
    case = LifeCase(
        blade=blade, method=method, use=Use() if use is None else use, retire=(MaxWidthLoss(),)
    )
    fields = _fields(case, method)
    base = {field: _default(case, field) for field in fields.values()}
    options = {"runs": runs, "seed": seed, "progress": False, "summary": True}
    ranges = [_ends(item) for item in fields]
    ends = [
        (field, _set(case.use, item.name, low), _set(case.use, item.name, high))
        for (item, field), (low, high) in zip(fields.items(), ranges, strict=True)
    ]
    parts = [one_at_a_time(case, base, ends, **options)]
    models = _models(method)
    if models:
        ways = [("method", *pair.values()) for pair in models.values()]
        own: dict[str, object] = {"method": method}
        parts.append(one_at_a_time(case, own, ways, **options))  # type: ignore[arg-type]
    loss, life = (
        np.concatenate([part[column].iloc[1:] for part in parts])
        for column in ("loss_um_per_session", "sessions_p50")
    )
    low, high = zip(*ranges, *models.values(), strict=True)
    table = pd.DataFrame({"input": [item.name for item in fields] + [*models]})
    table["status"] = [item.status.value for item in fields] + len(models) * ["assumed"]
    table["low"], table["high"] = low, high
    for name, values in (("loss_um", loss), ("sessions", life)):
        table[f"{name}_at_low"], table[f"{name}_at_high"] = values[0::2], values[1::2]
    table.insert(6, "loss_um_default", parts[0]["loss_um_per_session"].iloc[0])
    table["swing_um"] = (table["loss_um_at_high"] - table["loss_um_at_low"]).abs()
    return table.sort_values("swing_um", ascending=False, ignore_index=True)


def _default(case: LifeCase, field: str) -> object:
    """The value that a field of a row has in a case."""
    owner, _, path = field.partition(".")
    return attrgetter(path)(rules_of(case.retire)[0] if owner == "rule" else getattr(case, owner))
