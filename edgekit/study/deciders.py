"""Which inputs decide a result: each one moved across its stated spread, all others at their default.

Low and high ends come from the evidence table, none is chosen here. Every case runs on the same
random numbers, so small effects show.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from edgekit.errors import EdgekitError
from edgekit.evidence_table import Gsd, Range, Sd, entry
from edgekit.geometry.blade import Blade
from edgekit.study.compare import compare
from edgekit.wear.dulling import PowerDulling
from edgekit.wear.life import Use
from edgekit.wear.method import ErrorTerm, Method
from edgekit.wear.retire import RetireRule, WidthFraction

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["what_decides"]


class _Case(NamedTuple):
    """One study: everything `compare` needs."""

    method: Method
    use: Use
    retire: tuple[RetireRule, ...]


Setter = Callable[[_Case, float], _Case]


def _law(case: _Case, *, rate: float | None = None, exponent: float | None = None) -> _Case:
    """A power law changed in rate, or in exponent through the same radius after one use."""
    law = case.use.law
    if not isinstance(law, PowerDulling):
        return case
    if rate is not None:
        law = replace(law, rate=rate)
    if exponent is not None:
        fresh, strokes = case.use.sharp_radius_um, case.use.strokes
        law = PowerDulling.through(
            radius_um=float(law.after(fresh, strokes)),  # type: ignore[arg-type]
            strokes=strokes,
            sharp_radius_um=fresh,
            exponent=exponent,
        )
    return case._replace(use=replace(case.use, law=law))


def _error(case: _Case, axis: str, **change: float) -> _Case:
    hand = case.method.hand
    term: ErrorTerm = replace(getattr(hand, axis), **change)
    return case._replace(method=replace(case.method, hand=replace(hand, **{axis: term})))


# The input's name in the evidence table, and how a study is given another value of it.
_INPUTS: tuple[tuple[str, Setter], ...] = (
    ("dull_rate_um2_per_stroke", lambda c, x: _law(c, rate=x)),
    ("dull_exponent", lambda c, x: _law(c, exponent=x)),
    ("strokes_per_use", lambda c, x: c._replace(use=replace(c.use, strokes=x))),
    ("sharp_radius_um", lambda c, x: c._replace(use=replace(c.use, sharp_radius_um=x))),
    ("attrition_um_per_use", lambda c, x: c._replace(use=replace(c.use, attrition_um=x))),
    ("placements", lambda c, x: c._replace(method=replace(c.method, placements=int(x)))),
    ("freehand_seatings", lambda c, x: c._replace(method=replace(c.method, seatings=int(x)))),
    ("sharp_target", lambda c, x: c._replace(method=replace(c.method, sharp_target=x))),
    ("freehand_tilt_sd_deg", lambda c, x: _error(c, "tilt_deg", sd=x)),
    ("freehand_tilt_bias_sd_deg", lambda c, x: _error(c, "tilt_deg", person_sd=x)),
    ("freehand_swing_sd_deg", lambda c, x: _error(c, "swing_deg", sd=x)),
    ("position_sd_mm", lambda c, x: _error(c, "position_mm", sd=x)),
    ("depth_cv", lambda c, x: _error(c, "depth", sd=x)),
    ("retire_width_fraction", lambda c, x: c._replace(retire=(WidthFraction(fraction=x),))),
)


def _ends(name: str) -> tuple[float, float]:
    item = entry(name)
    if isinstance(item.spread, Gsd):
        return item.value / item.spread.gsd, item.value * item.spread.gsd
    if isinstance(item.spread, Sd):
        return item.value - item.spread.sd, item.value + item.spread.sd
    if isinstance(item.spread, Range):
        return item.spread.low, item.spread.high
    raise EdgekitError("this input has no stated spread", name, "State one in the evidence table.")


def what_decides(
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
        A row an input, the one that moves the loss most first: ``input, status, low, high,
        loss_um_at_low, loss_um_at_high, loss_um_default, sessions_at_low, sessions_at_high, swing_um``.

    Examples
    --------
    >>> import edgekit as ek
    >>> table = ek.what_decides(
    ...     ek.patterns.area_specific_curette(), ek.methods.freehand(), runs=8, seed=1)
    >>> bool(table["swing_um"].iloc[0] >= table["swing_um"].iloc[-1])
    True
    """
    import pandas as pd

    base = _Case(method, use or Use(), (WidthFraction(),))

    def study(case: _Case) -> tuple[float, float]:
        row = compare(
            blade, [case.method], runs=runs, seed=seed, use=case.use, retire=case.retire
        ).table.iloc[0]
        return float(row["loss_um_per_session"]), float(row["sessions_p50"])

    default, _ = study(base)
    rows = []
    for name, setter in _INPUTS:
        low, high = _ends(name)
        (loss_low, life_low), (loss_high, life_high) = (
            study(setter(base, low)),
            study(setter(base, high)),
        )
        rows.append(
            {
                "input": name,
                "status": entry(name).status.value,
                "low": low,
                "high": high,
                "loss_um_at_low": loss_low,
                "loss_um_at_high": loss_high,
                "loss_um_default": default,
                "sessions_at_low": life_low,
                "sessions_at_high": life_high,
                "swing_um": abs(loss_high - loss_low),
            }
        )
    table = pd.DataFrame(rows)
    return table.sort_values("swing_um", ascending=False, ignore_index=True)
