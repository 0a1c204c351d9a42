"""Cutting geometry at the tooth, and the plane conversions of ISO 3002-1.

Convention of the conversions, one of several in print (some sources name the axes the other way
round): P_r is normal to the assumed cutting velocity; P_f holds the velocity and the feed; P_p is
normal to both; P_s holds the edge and the velocity; P_o is normal to P_r and P_s; P_n is normal to
the edge. κ_r is the angle from P_s to P_f in P_r, λ_s the edge's inclination in P_s; rake γ,
clearance α. All are MEMORY of the standard, fixed here by vector algebra.

For a hand instrument drawn along a root the velocity is the stroke and an edge oblique to it has an
inclination λ_s; square to it, λ_s = 0 and all sections normal to the edge are the same.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgekit.checks import FloatArray, array_between, matched
from edgekit.evidence_table import value

__all__ = [
    "WorkingAngles",
    "apparent_bevel_deg",
    "clearance_in_planes",
    "clearance_normal",
    "clearance_orthogonal",
    "rake_in_planes",
    "rake_normal",
    "rake_orthogonal",
    "working_angles",
]

_ACUTE = "Give an angle above -90 and below 90 degrees."
_ANGLES = "the angles"
_CLEAR = "Give a clearance above 0 and below 90 degrees."


@dataclass(frozen=True, kw_only=True, eq=False)
class WorkingAngles:
    """Angles of an edge at work.

    Attributes
    ----------
    rake_deg : ndarray (...)
        Rake: face-to-tooth angle − 90° [deg]; negative while scaling.
    clearance_deg : ndarray (...)
        Clearance between lateral surface and tooth: 180° − face-to-tooth − β [deg].
    burnishing : ndarray (...) of bool
        The blade smears instead of cutting: the face-to-tooth angle is outside 45° to 90°, or
        the lateral surface lies on the tooth (no clearance).
    in_best_range : ndarray (...) of bool
        The face-to-tooth angle is in the 60° to 80° the trade teaches, and nothing burnishes.
    """

    rake_deg: FloatArray
    clearance_deg: FloatArray
    burnishing: NDArray[np.bool_]
    in_best_range: NDArray[np.bool_]


def working_angles(*, face_tooth_deg: ArrayLike, internal_angle_deg: ArrayLike) -> WorkingAngles:
    """Rake and clearance at the tooth, and whether the blade only burnishes.

    With the stroke along the tooth and square to the edge, rake + β + clearance = 90°.

    Parameters
    ----------
    face_tooth_deg : array_like (...)
        Angle between face and tooth surface [deg], 0 to 180.
    internal_angle_deg : array_like (...)
        Internal angle β [deg].

    Returns
    -------
    WorkingAngles

    Raises
    ------
    EdgekitError
        For angles outside 0 to 180 degrees.

    Notes
    -----
    Limits 45°, 90°, 60-80°: teaching texts (entries ``face_tooth_*`` of the evidence table).
    Angles as in ISO 3002-1 with the stroke as cutting velocity.

    Examples
    --------
    >>> from edgekit.edge_finish.cutting import working_angles
    >>> held = working_angles(face_tooth_deg=[40, 70, 95], internal_angle_deg=75)
    >>> held.rake_deg.tolist(), held.clearance_deg.tolist()
    ([-50.0, -20.0, 5.0], [65.0, 35.0, 10.0])
    >>> held.burnishing.tolist()
    [True, False, True]
    """
    face = array_between("face_tooth_deg", face_tooth_deg, 0, 180)
    beta = array_between("internal_angle_deg", internal_angle_deg, 0, 180)
    face, beta = matched("face_tooth_deg and internal_angle_deg", face, beta)
    clearance = 180 - face - beta
    bites = (face > value("face_tooth_low_deg")) & (face < value("face_tooth_high_deg"))
    burnishing = ~(bites & (clearance > 0))
    best = (face >= value("face_tooth_best_low_deg")) & (face <= value("face_tooth_best_high_deg"))
    return WorkingAngles(
        rake_deg=np.asarray(face - 90.0),
        clearance_deg=np.asarray(clearance),
        burnishing=np.asarray(burnishing),
        in_best_range=np.asarray(best & ~burnishing),
    )


def _tan(name: str, angle_deg: ArrayLike) -> FloatArray:
    return np.asarray(np.tan(np.radians(array_between(name, angle_deg, -90, 90, _ACUTE))))


def _cot(name: str, angle_deg: ArrayLike) -> FloatArray:
    return np.asarray(1 / np.tan(np.radians(array_between(name, angle_deg, 0, 90, _CLEAR))))


def _cos(name: str, angle_deg: ArrayLike) -> FloatArray:
    return np.asarray(np.cos(np.radians(array_between(name, angle_deg, -90, 90, _ACUTE))))


def _turn(name: str, angle_deg: ArrayLike) -> tuple[FloatArray, FloatArray]:
    kappa = np.radians(array_between(name, angle_deg, 0, 180, ends=True))
    return np.asarray(np.sin(kappa)), np.asarray(np.cos(kappa))


def _degrees(tangent: FloatArray) -> FloatArray:
    return np.asarray(np.degrees(np.arctan(tangent)))


def _clearance_degrees(cotangent: FloatArray) -> FloatArray:
    """Angle in (0°, 180°) of a cotangent; above 90° the section turns the flank over."""
    return np.asarray(np.degrees(np.arctan2(1.0, cotangent)))


def rake_normal(rake_orthogonal_deg: ArrayLike, *, inclination_deg: ArrayLike) -> FloatArray:
    """Rake in the normal plane: tan γ_n = tan γ_o cos λ_s [deg].

    Examples
    --------
    >>> from edgekit.edge_finish.cutting import rake_normal
    >>> round(float(rake_normal(-20, inclination_deg=45)), 3)
    -14.433
    """
    rake = _tan("rake_orthogonal_deg", rake_orthogonal_deg)
    rake, cos = matched("rake and inclination", rake, _cos("inclination_deg", inclination_deg))
    return _degrees(rake * cos)


def clearance_normal(
    clearance_orthogonal_deg: ArrayLike, *, inclination_deg: ArrayLike
) -> FloatArray:
    """Clearance in the normal plane: cot α_n = cot α_o cos λ_s [deg].

    Examples
    --------
    >>> from edgekit.edge_finish.cutting import clearance_normal
    >>> round(float(clearance_normal(35, inclination_deg=0)), 6)
    35.0
    """
    cot = _cot("clearance_orthogonal_deg", clearance_orthogonal_deg)
    cot, cos = matched("clearance and inclination", cot, _cos("inclination_deg", inclination_deg))
    return _clearance_degrees(cot * cos)


def rake_orthogonal(
    *, rake_f_deg: ArrayLike, rake_p_deg: ArrayLike, cutting_edge_deg: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Orthogonal rake and inclination from the rakes in P_f and P_p.

    tan γ_o = tan γ_f sin κ + tan γ_p cos κ; tan λ_s = tan γ_p sin κ − tan γ_f cos κ.

    Parameters
    ----------
    rake_f_deg, rake_p_deg : array_like (...)
        Rake in the assumed working plane and in the back plane [deg].
    cutting_edge_deg : array_like (...)
        Cutting edge angle κ_r [deg].

    Returns
    -------
    rake_orthogonal_deg, inclination_deg : ndarray (...)

    Notes
    -----
    tan²γ_o + tan²λ_s = tan²γ_f + tan²γ_p, the steepest rake, does not change.

    Examples
    --------
    >>> from edgekit.edge_finish.cutting import rake_orthogonal
    >>> [float(a.round(6)) for a in rake_orthogonal(rake_f_deg=10, rake_p_deg=5, cutting_edge_deg=90)]
    [10.0, 5.0]
    """
    f, p = _tan("rake_f_deg", rake_f_deg), _tan("rake_p_deg", rake_p_deg)
    f, p, sin, cos = matched(_ANGLES, f, p, *_turn("cutting_edge_deg", cutting_edge_deg))
    return _degrees(f * sin + p * cos), _degrees(p * sin - f * cos)


def rake_in_planes(
    *, rake_orthogonal_deg: ArrayLike, inclination_deg: ArrayLike, cutting_edge_deg: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Rakes in P_f and P_p from orthogonal rake and inclination, the inverse of `rake_orthogonal`.

    tan γ_f = tan γ_o sin κ − tan λ_s cos κ; tan γ_p = tan γ_o cos κ + tan λ_s sin κ.

    Returns
    -------
    rake_f_deg, rake_p_deg : ndarray (...)

    Examples
    --------
    >>> from edgekit.edge_finish.cutting import rake_in_planes
    >>> f, p = rake_in_planes(rake_orthogonal_deg=10, inclination_deg=5, cutting_edge_deg=90)
    >>> float(f.round(6)), float(p.round(6))
    (10.0, 5.0)
    """
    o = _tan("rake_orthogonal_deg", rake_orthogonal_deg)
    s = _tan("inclination_deg", inclination_deg)
    o, s, sin, cos = matched(_ANGLES, o, s, *_turn("cutting_edge_deg", cutting_edge_deg))
    return _degrees(o * sin - s * cos), _degrees(o * cos + s * sin)


def clearance_in_planes(
    *, clearance_orthogonal_deg: ArrayLike, inclination_deg: ArrayLike, cutting_edge_deg: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Clearances in P_f and P_p from orthogonal clearance and inclination.

    cot α_f = cot α_o sin κ − tan λ_s cos κ; cot α_p = cot α_o cos κ + tan λ_s sin κ.

    Returns
    -------
    clearance_f_deg, clearance_p_deg : ndarray (...)
        In (0°, 180°) [deg].

    Examples
    --------
    >>> from edgekit.edge_finish.cutting import clearance_in_planes
    >>> f, p = clearance_in_planes(
    ...     clearance_orthogonal_deg=10, inclination_deg=0, cutting_edge_deg=90)
    >>> float(f.round(6)), float(p.round(6))
    (10.0, 90.0)
    """
    o = _cot("clearance_orthogonal_deg", clearance_orthogonal_deg)
    s = _tan("inclination_deg", inclination_deg)
    o, s, sin, cos = matched(_ANGLES, o, s, *_turn("cutting_edge_deg", cutting_edge_deg))
    return _clearance_degrees(o * sin - s * cos), _clearance_degrees(o * cos + s * sin)


def clearance_orthogonal(
    *, clearance_f_deg: ArrayLike, clearance_p_deg: ArrayLike, cutting_edge_deg: ArrayLike
) -> FloatArray:
    """Orthogonal clearance from those in P_f and P_p: cot α_o = cot α_f sin κ + cot α_p cos κ [deg].

    Examples
    --------
    >>> from edgekit.edge_finish.cutting import clearance_orthogonal
    >>> round(float(clearance_orthogonal(
    ...     clearance_f_deg=10, clearance_p_deg=90, cutting_edge_deg=90)), 6)
    10.0
    """
    limits = (0.0, 180.0, "Give a clearance above 0 and below 180 degrees.")
    f = array_between("clearance_f_deg", clearance_f_deg, *limits)
    p = array_between("clearance_p_deg", clearance_p_deg, *limits)
    f, p, sin, cos = matched(_ANGLES, f, p, *_turn("cutting_edge_deg", cutting_edge_deg))
    f, p = np.radians(f), np.radians(p)
    return _clearance_degrees(np.cos(f) / np.sin(f) * sin + np.cos(p) / np.sin(p) * cos)


def apparent_bevel_deg(internal_angle_deg: ArrayLike, *, turn_deg: ArrayLike) -> FloatArray:
    """Internal angle seen in a section turned by ψ about the face normal [deg].

    tan β_app = tan β cos ψ: a section that is not square to the edge shows a smaller angle when β
    is below 90°.

    Parameters
    ----------
    internal_angle_deg : array_like (...)
        Internal angle β, normal to the edge [deg].
    turn_deg : array_like (...)
        Turn ψ of the section from the normal plane [deg], within ±90.

    Returns
    -------
    ndarray (...)

    Examples
    --------
    >>> from edgekit.edge_finish.cutting import apparent_bevel_deg
    >>> round(float(apparent_bevel_deg(75, turn_deg=30)), 2)
    72.81
    """
    beta = array_between("internal_angle_deg", internal_angle_deg, 0, 180)
    beta, cos = matched("internal_angle_deg and turn_deg", beta, _cos("turn_deg", turn_deg))
    shown = np.arctan2(np.sin(np.radians(beta)) * cos, np.cos(np.radians(beta)))
    return np.asarray(np.degrees(shown))
