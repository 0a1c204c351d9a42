"""Pictures of an edge in section: how far dullness goes back, what a wrong angle takes.

Every function returns a `Drawn`: the picture, its title and alternative text, and its numbers.
"""

from __future__ import annotations

import numpy as np

import edgekit as ek
from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument
from lesson.drawing import BLUE, GREY, INK, VERMILION, Chart, Drawn
from lesson.sessions import steady

__all__ = ["reached", "tip", "wrong_angle"]

RED_CELL_UM = 7.5  # across; histology textbooks, from memory
ACROSS_UM, DEEP_UM = (-4.0, 26.0), (-16.0, 8.0)  # of the tip's picture, whatever its radius
BACK_MM = 0.8  # of the flank's picture
ALONG, OUT = "from edge to back [mm]", "out of steel [µm]"


def tip(radius_um: float, internal_angle_deg: float = 75.0) -> Drawn:
    """The tip of a wedge in section, sharp and rounded, and the new flank that is sharp again.

    True proportions on axes that hold every radius up to 10 µm; a red blood cell lies beside it.

    Parameters
    ----------
    radius_um : float
        Of the rounding, at most 10.
    internal_angle_deg : float

    Raises
    ------
    BadArgument
        A radius that is not above 0 or does not fit into the picture.

    Examples
    --------
    >>> tip(4.0).title
    'Angle 75°, radius 4 µm: the edge must go back 5.2 µm'
    """
    radius = checks.positive("radius_um", radius_um)
    if radius > 10:
        raise BadArgument("a rounding that fits the picture", radius, "Give 10 or less.")
    worn, beta = ek.dull_edge(internal_angle_deg, radius), np.radians(internal_angle_deg)
    back = float(worn.along_face_um)
    chart = Chart(x=ACROSS_UM, y=DEEP_UM, x_name="along the face [µm]", y_name="below it [µm]")
    wide = float(chart.across(1.0) - chart.across(0.0))  # pixels for a micrometre, both ways
    chart.height += (wide - float(chart.down(0.0) - chart.down(1.0))) * (DEEP_UM[1] - DEEP_UM[0])
    flank = np.array([[0.0, 0.0], [1.0, -np.tan(beta)]]) * -DEEP_UM[0]
    body = np.concatenate([[[ACROSS_UM[1], 0.0]], _rounding(radius, beta), flank[1:]])
    corner = [ACROSS_UM[1], DEEP_UM[0]]
    chart.line([*body[:, 0], corner[0]], [*body[:, 1], corner[1]], "none", fill="#e8edf2")
    chart.line([ACROSS_UM[1], 0, *flank[1:, 0]], [0, 0, *flank[1:, 1]], BLUE, width=1.5)
    chart.line(body[:, 0], body[:, 1], VERMILION, width=2.5, dashes="9 4")
    chart.line(flank[:, 0] + back, flank[:, 1], INK, width=2.5)
    chart.text(0.0, 0.0, f"{back:.1f} µm", INK, lift=8)
    chart.line(25.0 + RED_CELL_UM * np.array([-1, 0]), [1.3] * 2, GREY, width=4)
    chart.text(25.0, 1.3, "a red blood cell", GREY, anchor="end", lift=7)
    chart.text(25.0, 5.6, "dashed: dull edge; black: new flank", INK, anchor="end")
    title = (
        f"Angle {internal_angle_deg:g}°, radius {radius:g} µm: the edge must go back {back:.1f} µm"
    )
    kind = (
        "Section of the edge in true proportion: the sharp wedge in blue, the rounded edge dashed "
        "in vermilion, the new lateral surface in black, a red blood cell of 7.5 µm as a scale bar"
    )
    numbers = {"radius_um": radius, "along_face_um": back, "land_um": float(worn.edge_width_um)}
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def _rounding(radius: float, beta: float) -> FloatArray:
    """Points of the circle that touches face and flank, from face to flank."""
    centre = radius / np.tan(beta / 2)
    turn = np.linspace(np.pi / 2, np.pi / 2 + np.pi - beta, 40)
    return np.stack([centre + radius * np.cos(turn), radius * (np.sin(turn) - 1)], axis=-1)


def wrong_angle(blade: ek.Blade, off_deg: float) -> Drawn:
    """The lateral surface in section, and what a stone held off its angle must take of it.

    Parameters
    ----------
    blade : Blade
        Its flank is drawn straight, as long as the blade's own.
    off_deg : float
        Angle between stone and face, less the right one [°]. Above 0 the stone meets the back
        first; below 0 the edge.

    Raises
    ------
    BadArgument
        An error beyond 6° either way, which leaves the picture.

    Examples
    --------
    >>> wrong_angle(ek.patterns.area_specific_curette(), 2).title
    '+2°: 17 µm of steel stand before the edge at the back'
    """
    off = checks.finite("off_deg", off_deg)
    if abs(off) > 6:
        raise BadArgument("an error that fits the picture", off, "Give 6° or less either way.")
    flank = blade.section.flank_mm
    rise = np.tan(np.radians(off))
    chart = Chart(x=(-0.05, BACK_MM), y=(-90.0, 90.0), x_name=ALONG, y_name=OUT)
    chart.line([0, flank, flank, 0], [0, 0, -120, -120], "none", fill="#e8edf2")
    if off > 0:
        chart.line([0, flank, flank], [0, 0, -rise * flank * 1000], "none", fill="#f6d2ba")
    chart.line([0, flank], [0, 0], BLUE)
    ends = np.array([-0.05, BACK_MM])
    chart.line(ends, -rise * ends * 1000, INK, width=3, dashes="" if off else "9 4")
    chart.text(0.02, 72, "black: the stone, where it must come to", INK)
    chart.text(0.02, 50, "blue: the lateral surface as it is", BLUE)
    chart.text(0.02, -82, "steel", GREY)
    chart.text(flank, -62, "round back from here", GREY, anchor="end")
    at_back = float(rise * flank * 1000)
    title = f"{off:+g}°: ".replace("-", "−").replace("+0", "0")
    if off > 0:
        title += f"{at_back:.0f} µm of steel stand before the edge at the back"
    elif off < 0:
        title += f"only the edge is touched, and becomes {-off:g}° blunter"
    else:
        title += "stone and lateral surface lie flat on one another"
    kind = (
        "Section of the lateral surface, drawn several times too high: the surface in blue, the "
        "stone as a black line, steel to be removed shaded"
    )
    return chart.drawn(kind=kind, title=title, numbers={"off_deg": off, "at_back_um": at_back})


def reached(blade: ek.Blade, off_deg: float, *, strokes: int, dull_radius_um: float) -> Drawn:
    """The lateral surface at mid-edge after some strokes at an angle, and where the stone stands.

    The hand errs in nothing but its angle; the surface is the library's, and the stone lies on it.

    Parameters
    ----------
    blade : Blade
    off_deg : float
        As in `wrong_angle`, 6° at most either way.
    strokes : int
        That are made, whether the edge is good or not.
    dull_radius_um : float
        Of the edge before.

    Examples
    --------
    >>> reached(ek.patterns.area_specific_curette(), 2, strokes=8, dull_radius_um=4.0).title
    '+2°: after 8 strokes the stone has not reached the edge'
    """
    bare = wrong_angle(blade, off_deg)
    method = steady(off_deg, stop=ek.strokes.counted(strokes=strokes))
    done = ek.sharpen(blade, method, dull_radius_um=dull_radius_um, rng=1, stations=60, depths=160)
    edge = next(iter(done.edges.values()))
    before, after = (
        _along_flank(blade, edge, inset) for inset in (edge.new_inset_mm, edge.inset_mm)
    )
    chart = Chart(x=(-0.05, BACK_MM), y=(-90.0, 90.0), x_name=ALONG, y_name=OUT)
    chart.steel(*after.T)
    slope = -1000 * np.tan(np.radians(off_deg))  # µm for a millimetre
    stands = float(np.max(after[:, 1] - slope * after[:, 0]))
    ends = np.array([-0.05, BACK_MM])
    if stands > 0:  # not yet at the edge: what is left above the line through it
        goal = np.minimum(slope * after[:, 0], after[:, 1])
        wedge = np.concatenate([after, np.stack([after[:, 0], goal], axis=-1)[::-1]])
        chart.line(wedge[:, 0], wedge[:, 1], "none", fill="#f6d2ba")
        chart.text(0.02, -82, "shaded: steel still in the way", INK)
    chart.line(before[:, 0], before[:, 1], BLUE)
    chart.line(after[:, 0], after[:, 1], VERMILION, width=2.5, dashes="9 4")
    chart.line(ends, stands + slope * ends, INK, width=3)
    chart.text(0.02, 72, f"black: the stone after {strokes} strokes", INK)
    chart.text(0.02, 50, "blue: before", BLUE)
    chart.text(0.28, 50, "orange, dashed: now", VERMILION)
    moved = edge.mean_recession_um
    title = f"{off_deg:+g}°: ".replace("-", "−").replace("+0°", "0°") + f"after {strokes} strokes "
    if moved < 0.05:  # rounds to nothing
        title += "the stone has not reached the edge"
        chart.text(0.01, -24, "edge not reached", VERMILION)
    else:
        title += f"the edge has moved in by {moved:.1f} µm"
    if off_deg < 0:
        title += f" and is {-off_deg:g}° blunter"
    numbers = {"off_deg": bare.numbers["off_deg"], "moved_um": moved, "stands_um": stands}
    kind = (
        "Section of the lateral surface, drawn several times too high: the surface before in blue, "
        "after the strokes dashed, the stone a black line, steel still in the way shaded"
    )
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def _along_flank(blade: ek.Blade, edge: ek.EdgeSession, inset: FloatArray) -> FloatArray:
    """Points of the lateral surface at mid-edge: from the edge to the back [mm], and out [µm]."""
    middle, beta = inset.shape[1] // 2, np.radians(blade.section.internal_angle_deg)
    x, z = inset[:, middle], edge.depth_mm[:, middle]
    along, out = x * np.cos(beta) + z * np.sin(beta), z * np.cos(beta) - x * np.sin(beta)
    return np.stack([along, 1000 * out], axis=-1)
