"""A toothed and a smooth edge worn side by side, on counterfaces of different hardness.

The load on a soft counterface sinks the whole edge in, teeth and valleys alike, and the two edges
then wear the same; on a hard one it stands on the teeth, which round off first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray, fraction, positive
from edgekit.edge_finish.line_contact import LineContact, default_contact
from edgekit.edge_finish.report import Finish
from edgekit.edge_finish.tooth_wear import ToothWear, gaussian_heights, wear_teeth
from edgekit.errors import EdgekitError
from edgekit.evidence_table import entry, value

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Blunting", "OnCounterface", "blunting", "counterfaces"]

_STROKES = (0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30, 45, 60, 90)
_POINTS = 200  # of the line: a step of its bearing curve is half a per cent
_TENTH = 1.2816  # standard normal deviate with a tenth above it
_MAX_STROKES = 2000.0


def counterfaces() -> dict[str, float]:
    """Hardness [HV] of what an edge meets, from the evidence table.

    Examples
    --------
    >>> from edgekit.edge_finish.blunting import counterfaces
    >>> counterfaces()["root dentine"]
    50.0
    """
    return {
        "calculus": value("calculus_hardness_hv"),
        "root dentine": value("counterface_hardness_hv"),
        "enamel": value("enamel_hardness_hv"),
    }


@dataclass(frozen=True, kw_only=True, eq=False)
class OnCounterface:
    """A toothed and a smooth edge of one angle against one counterface.

    ``sunk_in``: the load is borne only with the whole width of the fresh smooth edge in contact, so
    teeth stand out no more than valleys do.
    """

    name: str
    contact: LineContact
    sunk_in: bool
    toothed: ToothWear
    smooth: ToothWear

    @property
    def bearing(self) -> FloatArray:
        """Length that bears the load, toothed over smooth (N,): at 1 no tooth stands proud."""
        return self.toothed.contact_share / self.smooth.contact_share

    def level_after(self, share: float | None = None) -> float | None:
        """Strokes until the teeth are worn level; None if later than the last stroke reported.

        Level: the toothed edge bears on all but `share` of the length on which the smooth one does
        (``alike_share`` of the evidence table), read straight between the strokes reported.
        """
        limit = 1 - fraction("share", value("alike_share") if share is None else share)
        there = np.flatnonzero(self.bearing >= limit)
        if not len(there):
            return None
        i, strokes = int(there[0]), self.toothed.strokes
        if i == 0:
            return float(strokes[0])
        low, high = self.bearing[i - 1 : i + 1]
        return float(strokes[i - 1] + (limit - low) / (high - low) * (strokes[i] - strokes[i - 1]))

    def level_range(self) -> tuple[float, float] | None:
        """80 % range of `level_after` from the spread of the wear coefficient, strokes going as 1/k."""
        strokes = self.level_after()
        if strokes is None:
            return None
        factor = entry("use_wear_coefficient").gsd ** _TENTH
        return strokes / factor, strokes * factor


@dataclass(frozen=True, kw_only=True, eq=False)
class Blunting:
    """Blunting of a finish on several counterfaces.

    ``tooth_rq_um``: rms height of what counts as teeth at work; ``cases``: a row a counterface.
    """

    finish: Finish
    tooth_rq_um: float
    cases: tuple[OnCounterface, ...]

    @property
    def table(self) -> pd.DataFrame:
        """A row a counterface: hardness, whether sunk in, share of the length that bears when fresh,
        strokes until the teeth are level with their 80 % range (inf: not yet), and, at the last stroke,
        recession and felt radius of the toothed and the smooth edge."""
        import pandas as pd

        rows = []
        for case in self.cases:
            level, span = case.level_after(), case.level_range()
            rows.append(
                {
                    "counterface": case.name,
                    "hardness_hv": case.contact.counterface_hv,
                    "sunk_in": case.sunk_in,
                    "bearing_when_fresh": case.bearing[0],
                    "level_after_strokes": np.inf if level is None else level,
                    "level_low": np.inf if span is None else span[0],
                    "level_high": np.inf if span is None else span[1],
                    "strokes": case.toothed.strokes[-1],
                    "toothed_radius_um": case.toothed.contact_radius_um[-1],
                    "smooth_radius_um": case.smooth.contact_radius_um[-1],
                    "top_recession_um": case.toothed.top_recession_um[-1],
                    "smooth_recession_um": case.smooth.recession_um[-1],
                }
            )
        return pd.DataFrame(rows)

    @property
    def statement(self) -> str:
        """What is model, what is evidence."""
        return self.cases[0].toothed.statement


def blunting(
    finish: Finish,
    *,
    strokes: ArrayLike = _STROKES,
    on: Mapping[str, float] | None = None,
    contact: LineContact | None = None,
    conforming_um: float | None = None,
) -> Blunting:
    """Wear a finish's edge line and a smooth edge of the same angle, on each counterface.

    Parameters
    ----------
    finish : Finish
    strokes : array_like (N,)
        Strokes at which to report, rising, 2,000 at most.
    on : mapping of name to hardness [HV], optional
        Counterfaces; `counterfaces` by default.
    contact : LineContact, optional
        Load, stroke and wear coefficient; its counterface is replaced by each of `on`.
    conforming_um : float, optional
        Waves longer than this are pressed flat and are no teeth [µm].

    Returns
    -------
    Blunting

    Notes
    -----
    See `edgekit.edge_finish.tooth_wear` for the model. Published blunting contradicts itself: visible after
    15-45 strokes (Tal 1985, 1989), none after 30-90 (J Dent Hyg 1989). Neither separates teeth.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.area_specific_curette().edges["used"]
    >>> method = ek.methods.freehand().using(ek.diamond_plated_stone())
    >>> worn = ek.blunting(ek.finish(edge, method, rng=np.random.default_rng(1)))
    >>> worn.table["sunk_in"].tolist()
    [True, True, False]
    """
    hardness = counterfaces() if on is None else on
    if not hardness:
        raise EdgekitError("blunting needs a counterface", dict(hardness), "Give a hardness in HV.")
    report = np.atleast_1d(np.asarray(strokes, dtype=float))
    if not (np.isfinite(report).all() and report.max() <= _MAX_STROKES):
        raise EdgekitError(
            f"strokes must be {_MAX_STROKES:g} or fewer", report.max(), "Give fewer strokes."
        )
    rq = finish.tooth_rq_um(conforming_um)
    base = contact or default_contact()
    cases = []
    for name, hv in hardness.items():
        case = replace(base, counterface_hv=positive(f"hardness of {name}", hv))
        toothed, smooth = (
            wear_teeth(
                gaussian_heights(height, _POINTS),
                internal_angle_deg=finish.internal_angle_deg,
                strokes=report,
                contact=case,
            )
            for height in (rq, 0.0)
        )
        width = 2 * np.cos(np.radians(finish.internal_angle_deg) / 2) * value("sharp_radius_um")
        cases.append(
            OnCounterface(
                name=name,
                contact=case,
                sunk_in=bool(case.contact_um >= width),
                toothed=toothed,
                smooth=smooth,
            )
        )
    return Blunting(finish=finish, tooth_rq_um=rq, cases=tuple(cases))
