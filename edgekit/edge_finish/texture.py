"""Roughness of a profile: heights, shape and material ratio, over stated lengths.

Words and definitions are those of ISO 4287:1997 and ISO 21920-2:2021. All integrals are over
length, exact for the profile that is straight between its points, so unevenly spaced points
weigh by the length they stand for.
"""

import math
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray, count, frozen_array, positive
from edgekit.edge_finish.material_curve import CoreParameters, MaterialCurve, material_curve
from edgekit.edge_finish.profile_filter import mean_line
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import value
from edgekit.record import Record

__all__ = ["Roughness", "roughness"]

# Each end of the profile that the filter's weight overhangs and that is dropped [cut-offs].
_RUN = 0.5
# Heights below this share of the largest height before levelling are rounding.
_ROUNDING = 1e-13
# A cut-off below this many mean spacings of the points asks for waves that were not measured.
_MIN_SPACINGS = 2.0
_MAX_SECTIONS = 100_000
_MAX_CUTOFFS = 20_000  # in a profile


class Roughness(Record):
    """Roughness of one profile.

    Attributes
    ----------
    x_um, z_um : ndarray (N,)
        The roughness profile over the evaluation length [µm], z from its mean line.
    cutoff_um : float or None
        Cut-off of the Gaussian filter [µm], or None where nothing was filtered.
    sampling_um : float
        Sampling length (ISO 4287), section length (ISO 21920-2) [µm].
    sections : int
        How many of them make the evaluation length.
    standard_lengths : bool
        Whether the standard's number of sampling lengths, each of one cut-off, was used.
    lengths : str
        The lengths used, in words, and what is short of the standard.
    ra_um : float
        Arithmetic mean height [µm]: (1/l) ∫ |z| dx.
    rq_um : float
        Root mean square height [µm]: √((1/l) ∫ z² dx).
    rz_um : float
        Mean, over the sampling lengths, of highest peak plus deepest valley [µm]. Before 1997
        the name meant a ten-point height, which this is not.
    rt_um : float
        Highest peak plus deepest valley over the evaluation length [µm].
    rsk, rku : float or None
        Skewness (1/l) ∫ z³ dx / Rq³ and kurtosis (1/l) ∫ z⁴ dx / Rq⁴; None for a flat profile.
    """

    x_um: FloatArray
    z_um: FloatArray
    cutoff_um: float | None
    sampling_um: float
    sections: int
    standard_lengths: bool
    lengths: str
    ra_um: float
    rq_um: float
    rz_um: float
    rt_um: float
    rsk: float | None
    rku: float | None

    @property
    def evaluation_um(self) -> float:
        """Evaluation length [µm]."""
        return float(self.x_um[-1] - self.x_um[0])

    @cached_property
    def curve(self) -> MaterialCurve:
        """The material-ratio curve."""
        return material_curve(self.x_um, self.z_um)

    def material_ratio(self, level_um: ArrayLike) -> FloatArray:
        """Share of the length above a level from the mean line, Rmr(c) [1].

        Parameters
        ----------
        level_um : array_like (...)
            Levels c [µm] above the mean line.

        Returns
        -------
        ndarray (...)
        """
        return self.curve.ratio(level_um)

    @cached_property
    def core(self) -> CoreParameters:
        """The Rk family with its material ratios."""
        return self.curve.core()

    @property
    def rk_um(self) -> float:
        """Core height [µm]."""
        return self.core.rk_um

    @property
    def rpk_um(self) -> float:
        """Reduced peak height [µm]."""
        return self.core.rpk_um

    @property
    def rvk_um(self) -> float:
        """Reduced valley depth [µm]."""
        return self.core.rvk_um

    def __repr__(self) -> str:
        return (
            f"Ra {self.ra_um:.3g}, Rq {self.rq_um:.3g}, Rz {self.rz_um:.3g}, "
            f"Rt {self.rt_um:.3g} µm; {self.lengths}"
        )


def roughness(
    x_um: ArrayLike,
    z_um: ArrayLike,
    *,
    cutoff_um: float | None = None,
    sections: int | None = None,
) -> Roughness:
    """Roughness parameters of a profile.

    With a cut-off, the Gaussian mean line (ISO 16610-21) is taken off, half a cut-off is dropped
    at each end, and the evaluation length is the middle `sections` sampling lengths of one
    cut-off each, or as many as fit. Without one, the whole profile is evaluated about its mean
    height, cut into `sections` equal parts; take off form and slope beforehand.

    Parameters
    ----------
    x_um : array_like (N,)
        Positions along the profile [µm], strictly rising, at any spacing.
    z_um : array_like (N,)
        Heights [µm].
    cutoff_um : float, optional
        Cut-off wavelength λc [µm].
    sections : int, optional
        Sampling lengths in the evaluation length; the standard's five by default.

    Returns
    -------
    Roughness

    Raises
    ------
    EdgekitError
        For fewer than three points, positions that do not rise, lengths that differ, or a
        profile shorter than two cut-offs.

    Notes
    -----
    ISO 4287:1997 and ISO 21920-2:2021 (Ra, Rq, Rz, Rt, Rsk, Rku, Rmr), ISO 13565-2 (Rk family).
    For a sine of amplitude A: Ra = 2A/π, Rq = A/√2, Rz = 2A, Rmr(c) = arccos(c/A)/π.

    Examples
    --------
    >>> import numpy as np
    >>> from edgekit.edge_finish.texture import roughness
    >>> x = np.linspace(0, 5000, 5001)
    >>> wave = roughness(x, 2 * np.sin(2 * np.pi * x / 100))
    >>> round(wave.ra_um * np.pi / 4, 3), round(wave.rz_um, 3)
    (1.0, 4.0)
    >>> round(float(wave.material_ratio(1.0)), 3)
    0.333
    """
    x, z = _profile(x_um, z_um)
    wanted = value("sampling_lengths") if sections is None else sections
    parts = count("sections", wanted, most=_MAX_SECTIONS)
    if cutoff_um is None:
        middle = _restrict(x, z, np.linspace(x[0], x[-1], parts + 1))
        return _evaluate(*middle, parts, cutoff_um=None, wanted=parts)
    cutoff = positive("cutoff_um", cutoff_um, "Give the cut-off in micrometres.")
    room = (x[-1] - x[0]) / cutoff - 2 * _RUN
    if not cutoff >= _MIN_SPACINGS * (x[-1] - x[0]) / (x.size - 1):
        raise BadArgument(
            "cutoff_um must be at least two mean spacings of the points",
            cutoff,
            "Give a longer cut-off or more points.",
            argument="cutoff_um",
        )
    # With some slack, so that a profile of exactly the right length does not lose a section.
    fit = min(parts, math.floor(room * (1 + 1e-12) + 1e-9))
    if fit < 1:
        raise Cannot(
            "the profile must be at least two cut-offs long",
            (float(x[-1] - x[0]), cutoff),
            "Give a shorter cut-off or a longer profile: half a cut-off goes at each end.",
        )
    count("cut-offs in the profile", math.ceil(room), most=_MAX_CUTOFFS, bytes_each=40_000)
    start = x[0] + (x[-1] - x[0] - fit * cutoff) / 2
    middle = _restrict(x, z - mean_line(x, z, cutoff), start + cutoff * np.arange(fit + 1))
    return _evaluate(*middle, fit, cutoff_um=cutoff, wanted=parts)


def _profile(x_um: ArrayLike, z_um: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Checked copies of a profile."""
    x, z = frozen_array("x_um", x_um, (None,)), frozen_array("z_um", z_um, (None,))
    if x.size != z.size:
        raise BadArgument(
            "x_um and z_um must be of one length", (x.size, z.size), "Give one height per position."
        )
    if x.size < 3:
        raise BadArgument("a profile needs 3 points or more", x.size, "Give more points.")
    step = np.diff(x)
    if not (step > 0).all():
        worst = int(np.argmin(step))
        raise BadArgument(
            f"x_um must rise throughout, but not after entry {worst}",
            float(step[worst]),
            "Sort the points and drop repeated positions.",
            argument="x_um",
        )
    return x, z


def _restrict(x: FloatArray, z: FloatArray, cuts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The profile from the first to the last cut, with a point at every cut."""
    cuts = np.clip(cuts, x[0], x[-1])
    grid = np.unique(np.concatenate([x[(x > cuts[0]) & (x < cuts[-1])], cuts]))
    return grid, np.asarray(np.interp(grid, x, z))


def _evaluate(
    x: FloatArray, z: FloatArray, parts: int, *, cutoff_um: float | None, wanted: int
) -> Roughness:
    """Parameters of a profile already filtered and cut to its evaluation length."""
    length = x[-1] - x[0]
    dx = np.diff(x)
    largest = float(np.abs(z).max())
    if cutoff_um is None:  # a filtered profile keeps the filter's own mean line
        z = z - np.sum(dx * (z[1:] + z[:-1])) / (2 * length)
    # Heights no larger than the rounding of the level they sit on are not texture.
    z = np.where(np.abs(z).max() > _ROUNDING * largest, z, 0.0)
    a, b = z[:-1], z[1:]
    crossing = a * b < 0
    # |z| is straight on an interval without a zero; with one it is two triangles.
    reach = np.where(crossing, np.abs(a) + np.abs(b), 1.0)
    mean_abs = np.where(crossing, (a * a + b * b) / (2 * reach), np.abs(a + b) / 2)
    rq = math.sqrt(np.sum(dx * (a * a + a * b + b * b)) / (3 * length))
    third = np.sum(dx * (a + b) * (a * a + b * b)) / (4 * length)
    fourth = np.sum(dx * (a**4 + a**3 * b + a * a * b * b + a * b**3 + b**4)) / (5 * length)
    rt = float(np.ptp(z))
    flat = not rq > 0
    return Roughness(
        x_um=x,
        z_um=z,
        cutoff_um=cutoff_um,
        sampling_um=float(length / parts),
        sections=parts,
        standard_lengths=cutoff_um is not None and parts == int(value("sampling_lengths")),
        lengths=_words(cutoff_um, float(length / parts), parts, wanted),
        ra_um=float(np.sum(dx * mean_abs) / length),
        rq_um=rq,
        rz_um=_rz(x, z, parts),
        rt_um=rt,
        rsk=None if flat else float(third / rq**3),
        rku=None if flat else float(fourth / rq**4),
    )


def _rz(x: FloatArray, z: FloatArray, parts: int) -> float:
    """Mean over equal parts of the highest minus the lowest point; cuts are points of x."""
    slack = 1e-9 * (x[-1] - x[0])
    cuts = np.searchsorted(x, np.linspace(x[0], x[-1], parts + 1) - slack)
    spans = [np.ptp(z[lo : hi + 1]) for lo, hi in pairwise(cuts)]
    return float(np.mean(spans))


def _words(cutoff_um: float | None, sampling_um: float, parts: int, wanted: int) -> str:
    """The lengths used, as a sentence."""
    used = f"{parts} sampling length{'s' * (parts > 1)} of {sampling_um:.4g} µm"
    standard = int(value("sampling_lengths"))
    if cutoff_um is None:
        return f"{used}, the whole profile unfiltered: not the standard's lengths"
    if parts < wanted:
        return f"{used}: the profile is too short for {wanted}"
    if parts != standard:
        return f"{used}, as asked; the standard's default is {standard}"
    return f"{used}, the standard's default"
