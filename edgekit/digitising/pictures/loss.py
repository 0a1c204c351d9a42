"""What a session took: outlines from before and after laid over one another, with the budget.

Recession is inward along the face. Every outline is laid on the first one's datum; repeat mounts
are averaged, and their scatter is held against what the budget expects of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.digitising.pictures.budget import COVERAGE, Budget
from edgekit.digitising.pictures.edge_stations import STATION_MM, EdgeStations
from edgekit.digitising.pictures.loss_budget import LossModel, LossParts, loss_model, loss_parts
from edgekit.digitising.pictures.outlines.blade_outline import Outline
from edgekit.digitising.pictures.outlines.parts import Side
from edgekit.digitising.pictures.registering import Datum, register
from edgekit.digitising.pictures.widths import Apex, Mount, silhouette_share, width
from edgekit.display import html_list, html_text
from edgekit.errors import BadArgument, Cannot
from edgekit.geometry.edge import Edge
from edgekit.record import Record
from edgekit.units import UM_PER_MM

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["WidthLoss", "width_loss"]

WORST_SD_UM = 12.0  # a station beyond it is left out: the datum does not fix it
STRAINED = 2.0  # of the mount's standard deviations: one mount in a thousand by chance
MOST_STATIONS = 100_000  # of a model's edge
MIN_MOUNTS = 3  # of each kind before their scatter is held against the budget


class WidthLoss(Record):
    """Recession along one edge between two states, with its uncertainty.

    Attributes
    ----------
    side : Side
    length_mm : float
        Of that edge as it was before, heel to apex [mm].
    arc_mm : array (S,)
        From the heel along the edge as it was before [mm].
    recession_um, sd_um : array (S,)
        Inward along the face, and its standard deviation [µm]; of the edge as if it were sharp.
    usable : array (S,), bool
        False where the datum does not fix the outline well enough; see `notes`.
    mean_um, mean_sd_um : float
        Mean over the usable stations [µm].
    deepest_um, deepest_sd_um, deepest_at_mm : float
        The largest recession [µm] and where it is [mm]. The largest of noisy readings reads high.
    width_before_mm, width_after_mm : float
        At mid-edge; the first of each kind of picture.
    budget : Budget
        Of the mean.
    mounts : (int, int)
        How many pictures before and after.
    scatter_ratio : float
        Scatter of the repeat mounts over what the budget expects; ``sd_um`` is stretched by it
        where it is above 1, as by any strain of a mount above 2. 1 where there are fewer than three
        of a kind.
    notes : tuple of str
    """

    side: Side
    length_mm: float
    arc_mm: FloatArray
    recession_um: FloatArray
    sd_um: FloatArray
    usable: NDArray[np.bool_]
    mean_um: float
    mean_sd_um: float
    deepest_um: float
    deepest_sd_um: float
    deepest_at_mm: float
    width_before_mm: float
    width_after_mm: float
    width_u_um: float
    budget: Budget
    mounts: tuple[int, int]
    scatter_ratio: float
    notes: tuple[str, ...]
    before: Outline = field(repr=False)

    def interval_um(self) -> tuple[float, float]:
        """The mean's interval of about 95 % [µm]."""
        reach = COVERAGE * self.mean_sd_um
        return self.mean_um - reach, self.mean_um + reach

    def recession_on(self, edge: Edge, stations: int) -> tuple[FloatArray, FloatArray]:
        """Recession and its standard deviation (S,) [µm] at equal stations of a model's edge.

        Heel and apex of the two are laid on one another. Where no station is usable, and within a
        tenth of a millimetre of the heel, the nearest usable one stands in; its standard deviation
        is then `WORST_SD_UM` or more. `WornBlade.from_pictures` makes a worn blade of it.

        Parameters
        ----------
        edge : Edge
            The same edge of a blade, such as ``blade.edges["used"]``.
        stations : int
            How many, both ends included.

        Returns
        -------
        recession_um, sd_um : array (S,)

        Raises
        ------
        BadArgument
            For a blade in place of its edge, or fewer than two stations.
        """
        checks.instance("edge", edge, Edge, "Give one of its edges: blade.edges['used'].")
        checks.count("stations", stations, 2, most=MOST_STATIONS, bytes_each=8.0 * len(self.arc_mm))
        at = edge.stations(stations) / edge.length_mm * self.length_mm
        good = self.usable
        near = np.abs(at[:, None] - self.arc_mm[good]).min(axis=1) <= STATION_MM
        recession = np.interp(at, self.arc_mm[good], self.recession_um[good])
        sd = np.interp(at, self.arc_mm[good], self.sd_um[good])
        return recession, np.where(near, sd, np.maximum(sd, WORST_SD_UM))

    def to_log_rows(
        self,
        *,
        instrument: str,
        pattern: str,
        edge: str,
        before: str,
        after: str,
        operator: str = "",
    ) -> pd.DataFrame:
        """Two rows for the log: widths on two dates, with their uncertainty in the note.

        Parameters
        ----------
        instrument, pattern, edge : str
            As the log names them.
        before, after : str
            Dates, such as ``"2026-03-02"``.
        operator : str

        Returns
        -------
        pandas.DataFrame
        """
        import pandas as pd

        named = {"instrument": instrument, "pattern": pattern, "edge": edge, "before": before}
        for name, word in (named | {"after": after, "operator": operator}).items():
            checks.instance(name, word, str, "Give it as text, as the log has it.")
        low, high = self.interval_um()
        note = f"from pictures, U {COVERAGE * self.width_u_um:.1f} µm"
        notes = (note, f"{note}; loss {self.mean_um:.1f} µm ({low:.1f} to {high:.1f}) in the mean")
        widths = (self.width_before_mm, self.width_after_mm)
        return pd.DataFrame(
            [
                {
                    "instrument": instrument,
                    "pattern": pattern,
                    "edge": edge,
                    "date": date,
                    "event": "measured",
                    "width_mm": round(width_mm, 4),
                    "operator": operator,
                    "note": text,
                }
                for date, width_mm, text in zip((before, after), widths, notes, strict=True)
            ]
        )

    def __repr__(self) -> str:
        return "\n".join((self._headline, *self.notes))

    @property
    def _headline(self) -> str:
        low, high = self.interval_um()
        return (
            f"{self.side.value} edge: mean recession {self.mean_um:.2f} µm ({low:.2f} to "
            f"{high:.2f}), deepest {self.deepest_um:.1f} ± {self.deepest_sd_um:.1f} µm at "
            f"{self.deepest_at_mm:.2f} mm from the heel; pictures: {self.mounts[0]} before, "
            f"{self.mounts[1]} after"
        )

    def _repr_html_(self) -> str:
        return html_text(self._headline) + html_list(self.notes) + self.budget._repr_html_()


def width_loss(
    before: Sequence[Outline],
    after: Sequence[Outline],
    *,
    datum: Datum,
    side: Side,
    mount: Mount,
    apex_before: Apex | None = None,
    apex_after: Apex | None = None,
) -> WidthLoss:
    """Recession of one edge between pictures before and after.

    Parameters
    ----------
    before, after : sequence of Outline
        Each with its heel told; several are repeat mounts of the same state.
    datum : Datum
        What was not ground between them.
    side : Side
        The edge that was.
    mount : Mount
        How well the blade was levelled.
    apex_before, apex_after : Apex, optional
        How round the edge was; default freshly sharpened both times. A silhouette of a dull edge
        lies inside the sharp one, so that dull to sharp reads short.

    Returns
    -------
    WidthLoss

    Raises
    ------
    Cannot
        If the datum is not to be seen, or does not agree between the pictures.

    Examples
    --------
    >>> import edgekit as ek
    >>> P, folder = ek.pictures, "data_demo/pictures"
    >>> board = P.read_picture(f"{folder}/board.png", response=P.SRGB)
    >>> scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    >>> heel = P.EdgeLength(side=P.Side.LEFT, length_mm=6.26)
    >>> before, after = (
    ...     P.outline(P.read_picture(f"{folder}/FH-03-AS1_{day}_a.png", response=P.SRGB),
    ...               scale, heel=heel) for day in ("2026-03-02", "2026-03-09"))
    >>> loss = P.width_loss([before], [after], datum=P.Datum.UNUSED_EDGE_AND_SHANK,
    ...                     side=P.Side.LEFT, mount=P.Mount(distance_mm=120))
    >>> bool(8 < loss.mean_um < 10)
    True
    """
    lines = (_outlines("before", before), _outlines("after", after))
    apexes = (_apex("apex_before", apex_before), _apex("apex_after", apex_after))
    stations = EdgeStations.of(lines[0][0], side)
    seen = _compared(stations, lines, datum, side, mount, apexes)
    deepest = int(np.argmax(np.where(seen.usable, seen.recession_um, -np.inf)))
    widths = [
        width(kind[0], side=side, mount=mount, apex=apex)
        for kind, apex in zip(lines, apexes, strict=True)
    ]
    return WidthLoss(
        side=side,
        length_mm=float(stations.own_arc[-1]),
        arc_mm=stations.arc,
        recession_um=seen.recession_um,
        sd_um=seen.sd_um,
        usable=seen.usable,
        mean_um=float(seen.recession_um[seen.usable].mean()),
        mean_sd_um=seen.budget.u_um * seen.stretch,
        deepest_um=float(seen.recession_um[deepest]),
        deepest_sd_um=float(seen.sd_um[deepest]),
        deepest_at_mm=float(stations.arc[deepest]),
        width_before_mm=widths[0].width_mm,
        width_after_mm=widths[1].width_mm,
        width_u_um=widths[0].u_um,
        budget=seen.budget,
        mounts=(len(lines[0]), len(lines[1])),
        scatter_ratio=seen.scatter_ratio,
        notes=_notes(seen, stations, datum, lines),
        before=lines[0][0],
    )


class _Compared(NamedTuple):
    """Two states station by station, and by how much their scatter stretches the budget."""

    recession_um: FloatArray
    sd_um: FloatArray
    usable: NDArray[np.bool_]
    budget: Budget
    scatter_ratio: float
    strain: float
    stretch: float


def _compared(
    stations: EdgeStations,
    lines: tuple[tuple[Outline, ...], tuple[Outline, ...]],
    datum: Datum,
    side: Side,
    mount: Mount,
    apexes: tuple[Apex, Apex],
) -> _Compared:
    """Lay every outline on the first one's datum and take the means before and after."""
    checks.instance("datum", datum, Datum, "Give a member of ek.pictures.Datum.")
    checks.instance("mount", mount, Mount, "Give a Mount(distance_mm=...).")
    (first, *others), afters = lines
    fits = [register(first, line, datum, side, mount) for line in (*others, *afters)]
    old, new, seen = stations.read_all(*lines, fits)
    parts = loss_parts(stations.at(), fits[-1], first, mount, (len(old), len(new)))
    model = loss_model(parts, apexes, lines, mount)
    hidden = [silhouette_share(apex.internal_angle_deg) * apex.radius_um for apex in apexes]
    recession = UM_PER_MM * (new.mean(axis=0) - old.mean(axis=0)) + hidden[0] - hidden[1]
    ratio = _scatter_ratio(old, new, parts, model)
    strain = max(fit.strain for fit in fits)
    stretch = max(ratio, strain if strain > STRAINED else 1.0, 1.0)
    sd = stretch * model.station_sd()
    usable = np.asarray(seen & (sd < WORST_SD_UM))
    if not usable.any():
        raise Cannot(
            "the datum fixes no part of the edge",
            f"{sd.min():.1f} µm at best",
            "Show a neck, a shoulder or a mark besides a parallel shank.",
        )
    budget = model.budget(usable, float(recession[usable].mean()) - hidden[0] + hidden[1])
    return _Compared(recession, sd, usable, budget, ratio, strain, stretch)


def _apex(name: str, apex: Apex | None) -> Apex:
    apex = Apex() if apex is None else apex
    checks.instance(name, apex, Apex, "Give an Apex(radius_um=...), or leave it out.")
    return apex


def _outlines(name: str, lines: Sequence[Outline]) -> tuple[Outline, ...]:
    if isinstance(lines, Outline):
        lines = (lines,)
    made = checks.items_of(name, lines, Outline, "Make them with ek.pictures.outline.")
    if not made:
        raise BadArgument(
            f"{name} holds no outline", lines, "Give one outline or several.", argument=name
        )
    return tuple(made)


def _scatter_ratio(old: FloatArray, new: FloatArray, parts: LossParts, model: LossModel) -> float:
    """Scatter of repeat mounts over what the budget expects of it, as one number."""
    kinds = [kind for kind in (old, new) if len(kind) >= MIN_MOUNTS]
    if not kinds:
        return 1.0
    seen = np.mean([1e6 * kind.var(axis=0, ddof=1).mean() for kind in kinds])
    expected = (model.mount_variance() + parts.noise**2 + model.datum_variance()).mean()
    return float(np.sqrt(seen / expected))


def _notes(
    seen: _Compared,
    stations: EdgeStations,
    datum: Datum,
    lines: tuple[tuple[Outline, ...], tuple[Outline, ...]],
) -> tuple[str, ...]:
    notes = []
    if not seen.usable.all():
        out = stations.arc[~seen.usable]
        notes.append(
            f"At {len(out)} stations from {out.min():.2f} to {out.max():.2f} mm from the heel no "
            f"recession is given: the {datum.value} does not fix the outline there (a neck, a "
            "shoulder or a mark would), or dust, a chip or glare hides it."
        )
    if datum is not Datum.UNUSED_EDGE:
        notes.append(
            "The shank is taken to lie in the plane of the face. If it stands a tenth of a "
            "millimetre or more above it, 1° of tilt between two mounts reads as micrometres of "
            "loss: then take the unused edge alone as the datum."
        )
    if seen.scatter_ratio > 1.0:
        notes.append(
            f"Repeat mounts scatter {seen.scatter_ratio:.1f} times as much as the budget expects."
        )
    if seen.strain > STRAINED:
        notes.append(
            f"Two mounts differ by {seen.strain:.1f} times the uncertainty stated for their height "
            "and tilt."
        )
    if min(len(kind) for kind in lines) < MIN_MOUNTS:
        notes.append(
            "Fewer than three mounts of a kind: levelling is taken on trust, not measured."
        )
    if any(line.parts.pointed for kind in lines for line in kind):
        notes.append("The tip is pointed: loss of length is not given.")
    return tuple(notes)
