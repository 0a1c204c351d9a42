"""Angles of an edge at work: rake, clearance, and the bevel that an oblique section shows.

Rake and clearance are those of ISO 3002-1 (from memory) with the stroke of the blade as the assumed
cutting velocity, square to the edge.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgekit.checks import FloatArray, array_between, matched
from edgekit.evidence_table import value
from edgekit.record import Record

__all__ = ["WorkingAngles", "apparent_bevel_deg", "working_angles"]


class WorkingAngles(Record):
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
        The face-to-tooth angle is in the 60° to 80° that is taught, and nothing burnishes.
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
    remedy = "Give an angle above -90 and below 90 degrees."
    beta = np.radians(array_between("internal_angle_deg", internal_angle_deg, 0, 180))
    turn = np.radians(array_between("turn_deg", turn_deg, -90, 90, remedy))
    beta, turn = matched("internal_angle_deg and turn_deg", beta, turn)
    return np.asarray(np.degrees(np.arctan2(np.sin(beta) * np.cos(turn), np.cos(beta))))
