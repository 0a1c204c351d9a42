"""Weighings beside traces: the steel that the width lost between two traces comes to."""

import math

import numpy as np
import pandas as pd

from edgekit import checks
from edgekit.clinic.weighing.weighings import Weighings
from edgekit.errors import Cannot
from edgekit.geometry.blade import Blade, width_between
from edgekit.grinding.worn_blade import WornBlade
from edgekit.units import UM_PER_MM

__all__ = ["steel_by_traces"]

DEPTHS = 48  # nodes down a flank: a layer's steel to two in ten thousand
STRETCH = np.linspace(
    0.15, 0.75, 61
)  # shares of the edge, off the ends, which are not clicked alike


def steel_by_traces(weighings: Weighings) -> pd.DataFrame:
    """Steel by weighing beside steel by traces, for bouts that name a trace before and after.

    The width lost is the mean, off heel and toe, of the width of the face in the one trace less
    that in the other, so that the two need not be laid over one another.

    Parameters
    ----------
    weighings : Weighings

    Returns
    -------
    DataFrame
        One row per bout: ``instrument, bout, strokes, lost_mg, u_mg`` by weighing; ``width_lost_um,
        u_width_um`` from the noise of the points; ``traced_mg, u_traced_mg`` for an even recession
        of that size; ``apart``, the difference over its standard uncertainty: beyond 2 or 3 one of
        the two is wrong. A width that grew is taken as 0 mg.

    Raises
    ------
    Cannot
        No bout has two traces; a trace has no edge across the face, as of a hoe, or is another kind
        of blade than its partner.

    Examples
    --------
    >>> import edgekit as ek
    >>> folder = "data_demo/weighings"
    >>> seen = ek.clinic.read_weighings(f"{folder}/weights.csv", f"{folder}/strokes.csv")
    >>> bool((ek.clinic.steel_by_traces(seen)["apart"].abs() < 3).all())
    True
    """
    checks.instance("weighings", weighings, Weighings, "Take them from ek.clinic.read_weighings.")
    bouts = weighings.bouts
    traced = bouts[(bouts["trace_before"] != "") & (bouts["trace_after"] != "")]
    if traced.empty:
        raise Cannot(
            "no bout has a trace before and after",
            len(bouts),
            "Name their files in the columns trace_before and trace_after.",
        )
    rows = []
    for row in traced.to_dict("records"):
        before, after = (weighings.traces[row[f"trace_{when}"]] for when in ("before", "after"))
        if before.kind is not after.kind:
            kinds = (before.kind.value, after.kind.value)
            raise Cannot("the two traces are of different blades", kinds, "Check the file names.")
        lost = (_width_mm(before) - _width_mm(after)) * UM_PER_MM
        u_lost = math.hypot(_noise_um(before), _noise_um(after))
        traced_mg = _steel_mg(before, lost)
        u_mg = u_lost * _steel_mg(before, max(lost, 1.0)) / max(lost, 1.0)
        rows.append(
            {name: row[name] for name in ("instrument", "bout", "strokes", "lost_mg", "u_mg")}
            | {
                "width_lost_um": lost,
                "u_width_um": u_lost,
                "traced_mg": traced_mg,
                "u_traced_mg": u_mg,
                "apart": (row["lost_mg"] - traced_mg) / math.hypot(row["u_mg"], u_mg),
            }
        )
    return pd.DataFrame(rows)


def _width_mm(blade: Blade) -> float:
    """Mean width of the face, off heel and toe."""
    name = next(iter(blade.edges))
    far = blade.opposite(name)
    if far is None:
        remedy = "Trace the edge across the face as well; a hoe has none."
        raise Cannot("a trace has no edge across the face", blade.name, remedy)
    edge = blade.edges[name]
    width, _ = width_between(edge, far, STRETCH * edge.length_mm)
    return float(width.mean())


def _noise_um(blade: Blade) -> float:
    """Standard uncertainty of that width, from the noise of both edges' points there [µm]."""
    if blade.trace is None:
        return 0.0
    share = float(STRETCH[-1] - STRETCH[0])  # of the points, if they are spread evenly
    sizes = {name: share * len(points) for name, points in blade.trace.points_mm.items()}
    reports = blade.trace.edges.items()
    return math.sqrt(sum(report.noise_um**2 / sizes[name] for name, report in reports))


def _steel_mg(blade: Blade, width_um: float) -> float:
    """Steel of a loss of width, shared alike by the edges in use."""
    each = max(width_um, 0.0) / len(blade.edges)
    return WornBlade.from_recession(blade, each, depths=DEPTHS).steel_lost_mg
