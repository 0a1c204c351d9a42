"""Grit numbers and the grain sizes they stand for, on each published scale.

The same number 1000 stands for a median grain of 18.3 µm (FEPA P), 4.5 µm (FEPA F) or 11.5 µm
(JIS), so no function here accepts a number alone, and none interpolates between grades.
"""

import enum
from dataclasses import dataclass
from typing import Any

from edgekit.checks import count
from edgekit.errors import BadArgument
from edgekit.evidence_table import Status

__all__ = ["Grain", "Scale", "grain", "grain_um", "numbers"]


class Scale(enum.Enum):
    """A published series of grit numbers."""

    FEPA_P = "FEPA-P"
    FEPA_F = "FEPA-F"
    JIS = "JIS"


@dataclass(frozen=True, kw_only=True)
class Grain:
    """One grade of one scale.

    Attributes
    ----------
    scale : Scale
        The series the number belongs to.
    number : int
        The grit number.
    median_um : float
        Median grain size [µm], by the scale's own method of measurement.
    tolerance_um : float
        Half-width of the band the standard allows for the median [µm].
    status, tolerance_status : Status
        How far the median and its tolerance may be trusted.
    method : str
        How the scale measures size; the median depends on it.
    source : str
        Where the table was seen.

    Examples
    --------
    >>> from edgekit.method.grain import grain
    >>> fine = grain("JIS", 1000)
    >>> fine.median_um, fine.tolerance_um, fine.status.value
    (11.5, 1.0, 'published')
    """

    scale: Scale
    number: int
    median_um: float
    tolerance_um: float
    status: Status
    tolerance_status: Status
    method: str
    source: str


def _grades(
    scale: Scale, sizes_um: dict[int, tuple[float, float]], **common: Any
) -> dict[int, Grain]:
    """Grades of a scale by number, from (median, tolerance) [µm] and what they have in common."""
    return {
        number: Grain(
            scale=scale, number=number, median_um=median, tolerance_um=tolerance, **common
        )
        for number, (median, tolerance) in sizes_um.items()
    }


_TABLES = {
    Scale.FEPA_P: _grades(
        Scale.FEPA_P,
        {
            240: (58.5, 2.0),
            280: (52.2, 2.0),
            320: (46.2, 1.5),
            360: (40.5, 1.5),
            400: (35.0, 1.5),
            500: (30.2, 1.5),
            600: (25.8, 1.0),
            800: (21.8, 1.0),
            1000: (18.3, 1.0),
            1200: (15.3, 1.0),
            1500: (12.6, 1.0),
            2000: (10.3, 0.8),
            2500: (8.4, 0.5),
        },
        status=Status.PUBLISHED,
        tolerance_status=Status.MEMORY,
        method="sedimentation, ds50 of coated abrasives",
        source="ISO 6344-3, medians as transcribed alike on two independent pages",
    ),
    Scale.FEPA_F: _grades(
        Scale.FEPA_F,
        {
            230: (53.0, 3.0),
            240: (44.5, 2.0),
            280: (36.5, 1.5),
            320: (29.2, 1.5),
            360: (22.8, 1.5),
            400: (17.3, 1.0),
            500: (12.8, 1.0),
            600: (9.3, 1.0),
            800: (6.5, 1.0),
            1000: (4.5, 0.8),
            1200: (3.0, 0.5),
            1500: (2.0, 0.4),
            2000: (1.2, 0.3),
        },
        status=Status.MEMORY,
        tolerance_status=Status.MEMORY,
        method="photosedimentometer, ds50; the sedimentation tube reads more (7.6 µm at 1200)",
        source="ISO 8486-2, from memory",
    ),
    Scale.JIS: _grades(
        Scale.JIS,
        {
            240: (57.0, 3.0),
            280: (48.0, 3.0),
            320: (40.0, 2.5),
            360: (35.0, 2.0),
            400: (30.0, 2.0),
            500: (25.0, 2.0),
            600: (20.0, 1.5),
            700: (17.0, 1.3),
            800: (14.0, 1.0),
            1000: (11.5, 1.0),
            1200: (9.5, 0.8),
            1500: (8.0, 0.6),
            2000: (6.7, 0.6),
            2500: (5.5, 0.5),
            3000: (4.0, 0.5),
            4000: (3.0, 0.4),
            6000: (2.0, 0.4),
            8000: (1.2, 0.3),
        },
        status=Status.PUBLISHED,
        tolerance_status=Status.PUBLISHED,
        method="electrical resistance, d50",
        source="JIS R 6001:1987, as transcribed in full on one page",
    ),
}


def _scale(scale: Scale | str | None) -> Scale:
    """Return the scale meant, refusing a bare grit number in its place."""
    try:
        return Scale(scale)
    except ValueError:
        known = ", ".join(repr(item.value) for item in Scale)
        named = isinstance(scale, str)
        raise BadArgument(
            "no such grit scale" if named else "a grit number needs its scale",
            scale,
            f"Give the series the number belongs to, one of {known}: "
            "1000 is 18.3, 4.5 or 11.5 µm, depending on the scale.",
            argument="scale",
        ) from None


def numbers(scale: Scale | str) -> tuple[int, ...]:
    """Return the grit numbers of a scale, coarse to fine.

    Examples
    --------
    >>> from edgekit.method.grain import numbers
    >>> numbers("FEPA-P")[:3]
    (240, 280, 320)
    """
    return tuple(_TABLES[_scale(scale)])


def grain(scale: Scale | str | None, number: int | None = None) -> Grain:
    """Return one grade with its median, tolerance and their status.

    Parameters
    ----------
    scale : Scale or str
        ``"FEPA-P"``, ``"FEPA-F"`` or ``"JIS"``.
    number : int
        A grit number of that scale's table; others are refused, never interpolated.

    Returns
    -------
    Grain

    Raises
    ------
    EdgekitError
        For a number without a scale, an unknown scale, or a number the table does not hold.
    """
    series = _scale(scale)
    grades = _TABLES[series]
    if number is None:
        raise BadArgument(
            "a grit scale needs a number", number, f"Give one of {list(grades)}.", argument="number"
        )
    grade = count("number", number)
    if grade not in grades:
        raise BadArgument(
            f"{series.value} has no such grit number here",
            number,
            f"Use one of {list(grades)}; sizes between grades are not interpolated.",
            argument="number",
        )
    return grades[grade]


def grain_um(scale: Scale | str | None, number: int | None = None) -> float:
    """Median grain size [µm] of a grit number on its scale.

    Parameters
    ----------
    scale : Scale or str
        ``"FEPA-P"`` (coated), ``"FEPA-F"`` (bonded) or ``"JIS"``.
    number : int
        The grit number.

    Returns
    -------
    float
        Median grain size [µm]; `grain` gives the tolerance and the status with it.

    Raises
    ------
    EdgekitError
        As for `grain`.

    Notes
    -----
    ISO 6344-3 (FEPA P), ISO 8486-2 (FEPA F, from memory), JIS R 6001:1987.

    Examples
    --------
    >>> from edgekit.method.grain import grain_um
    >>> [grain_um(scale, 1000) for scale in ("FEPA-P", "FEPA-F", "JIS")]
    [18.3, 4.5, 11.5]
    """
    return grain(scale, number).median_um
