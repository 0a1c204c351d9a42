"""A toothed and a smooth edge worn side by side, on counterfaces of different hardness.

The load on a soft counterface sinks the edge in along its full length, teeth and valleys alike, and
the two edges then wear the same; on a hard one it stands on the teeth, which round off first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray, array_between, fraction, instance, positive
from edgekit.edge_finish.line_contact import LineContact, default_contact
from edgekit.edge_finish.report import TENTH, Finish
from edgekit.edge_finish.tooth_wear import ToothWear, gaussian_heights, wear_teeth
from edgekit.errors import BadArgument
from edgekit.evidence_table import entry, value
from edgekit.record import Record, freeze

__all__ = ["Blunting", "OnCounterface", "blunting", "counterfaces"]

_STROKES = (0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30, 45, 60, 90)
_POINTS = 200  # of the line: a step of its bearing curve is half a per cent
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


class OnCounterface(Record):
    """A toothed and a smooth edge of one angle against one counterface.

    ``sunk_in``: the load is borne only with the full width of the fresh smooth edge in contact, so
    teeth bear no more than valleys do.
    """

    name: str
    contact: LineContact
    sunk_in: bool
    toothed: ToothWear
    smooth: ToothWear

    @property
    def bearing(self) -> FloatArray:
        """Length that bears the load, toothed over smooth (N,); 1: the teeth are level."""
        ratio: FloatArray = freeze(self.toothed.contact_share / self.smooth.contact_share)
        return ratio

    def level_after(self, share: float | None = None) -> float | None:
        """Strokes until the teeth are worn level; None if later than the last stroke reported.

        Level: the toothed edge bears on all but `share` of the length on which the smooth one does
        (``alike_share`` of the evidence table), read straight between the strokes reported.
        """
        limit = 1 - fraction("share", value("alike_share") if share is None else share)
        bearing, strokes = self.bearing, self.toothed.strokes
        level = np.flatnonzero(bearing >= limit)
        if not len(level):
            return None
        i = int(level[0])
        if i == 0:
            return float(strokes[0])
        low, high = bearing[i - 1 : i + 1]
        return float(strokes[i - 1] + (limit - low) / (high - low) * (strokes[i] - strokes[i - 1]))

    def level_range(self) -> tuple[float, float] | None:
        """80 % range of `level_after`: strokes go as 1/k, k the uncertain wear coefficient."""
        strokes = self.level_after()
        if strokes is None:
            return None
        factor = entry("use_wear_coefficient").gsd ** TENTH
        return strokes / factor, strokes * factor


class Blunting(Record):
    """Blunting of a finish on several counterfaces.

    ``tooth_rq_um``: rms height of what counts as teeth at work; ``cases``: one per counterface.
    """

    finish: Finish
    tooth_rq_um: float
    cases: tuple[OnCounterface, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row per counterface: hardness, whether sunk in, share of the length that bears when
        fresh, strokes until the teeth are level with their 80 % range (inf: not yet), and, at the
        last stroke, recession and felt radius of the toothed and the smooth edge."""
        return pd.DataFrame([_row(case) for case in self.cases])

    @property
    def statement(self) -> str:
        """What is model, what is evidence."""
        return self.cases[0].toothed.statement


def _row(case: OnCounterface) -> dict[str, object]:
    """A counterface in the table."""
    level = case.level_after()
    low, high = case.level_range() or (np.inf, np.inf)
    return {
        "counterface": case.name,
        "hardness_hv": case.contact.counterface_hv,
        "sunk_in": case.sunk_in,
        "bearing_when_fresh": case.bearing[0],
        "level_after_strokes": np.inf if level is None else level,
        "level_low": low,
        "level_high": high,
        "strokes": case.toothed.strokes[-1],
        "toothed_radius_um": case.toothed.contact_radius_um[-1],
        "smooth_radius_um": case.smooth.contact_radius_um[-1],
        "top_recession_um": case.toothed.top_recession_um[-1],
        "smooth_recession_um": case.smooth.recession_um[-1],
    }


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
        Waves longer than this are pressed flat and do not act as teeth [µm].

    Returns
    -------
    Blunting

    Raises
    ------
    EdgekitError
        For anything but a finish, strokes out of range, or a hardness not above 0.

    Notes
    -----
    See `edgekit.edge_finish.tooth_wear` for the model. Published blunting contradicts itself:
    visible after 15-45 strokes (Tal 1985, 1989), none after 30-90 (J Dent Hyg 1989). Neither
    separates teeth.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.area_specific_curette().edges["used"]
    >>> method = ek.methods.freehand().using(ek.diamond_plated_stone())
    >>> worn = ek.blunting(ek.finish(edge, method, rng=np.random.default_rng(1)))
    >>> worn.table["sunk_in"].tolist()
    [True, True, False]
    """
    instance("finish", finish, Finish, "Make one with edgekit.finish.")
    hardness = counterfaces() if on is None else on
    instance("on", hardness, Mapping, "Give a dictionary of name to hardness in HV.")
    if not hardness:
        raise BadArgument("blunting needs a counterface", dict(hardness), "Give a hardness in HV.")
    base = default_contact() if contact is None else contact
    instance("contact", base, LineContact, "Give a LineContact, or None for the default.")
    remedy = f"Give {_MAX_STROKES:g} strokes or fewer."
    report = array_between("strokes", strokes, 0, _MAX_STROKES, remedy, ends=True)
    rq = finish.tooth_rq_um(conforming_um)
    cases = [
        _worn(
            name,
            replace(base, counterface_hv=positive(f"hardness of {name}", hv)),
            finish,
            rq,
            report,
        )
        for name, hv in hardness.items()
    ]
    return Blunting(finish=finish, tooth_rq_um=rq, cases=tuple(cases))


def _worn(
    name: str, contact: LineContact, finish: Finish, rq_um: float, strokes: FloatArray
) -> OnCounterface:
    """Both edges worn on one counterface."""
    angle = finish.internal_angle_deg
    wear = partial(wear_teeth, internal_angle_deg=angle, strokes=strokes, contact=contact)
    width = 2 * np.cos(np.radians(angle) / 2) * value("sharp_radius_um")
    return OnCounterface(
        name=name,
        contact=contact,
        sunk_in=bool(contact.contact_um >= width),
        toothed=wear(gaussian_heights(rq_um, _POINTS)),
        smooth=wear(gaussian_heights(0.0, _POINTS)),
    )
