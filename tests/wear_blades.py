"""Blades, hands and methods with nothing random in them, shared by the tests of wear and study."""

import dataclasses

import numpy as np

import edgekit as ek
from edgekit.geometry.curve import Constant
from edgekit.geometry.path import BentArcs
from edgekit.geometry.section import RoundBack
from edgekit.method.guide import FollowEdge
from edgekit.method.strokes import Advance, PlacementPhase

RADIUS_MM, LENGTH_MM, BETA_DEG = 6.7, 5.65, 75.0  # the package's default side
UM = 1000.0


def arc_edge(lengths, curvatures, *, heading=0.0, bow=0.0, beta_deg=BETA_DEG, start=(0.0, 0.0)):
    """Circle arcs in a face rolled to a bow; the steel lies to the right of the tangent."""
    return ek.Edge(
        path=BentArcs(
            start_mm=np.array(start, dtype=float),
            heading_rad=heading,
            lengths_mm=np.array(lengths, dtype=float),
            curvatures_per_mm=np.array(curvatures, dtype=float),
            bow_per_mm=bow,
        ),
        internal_angle=Constant(value=np.radians(np.asarray(beta_deg))),
        handle_axis=np.array([0.0, 0.0, -1.0]),
        side=-1,
        roll_reference=np.array([1.0, 0.0, 0.0]),
    )


def one_edged(edge, *, beta_deg=BETA_DEG, width_mm=0.86, thickness_mm=0.71):
    """A blade with nothing but this edge and a curette's section below it."""
    return ek.Blade(
        name="one edge",
        kind=ek.BladeClass.AREA_SPECIFIC,
        edges={"used": edge},
        section=RoundBack(
            width_mm=width_mm, thickness_mm=thickness_mm, internal_angle_deg=beta_deg
        ),
    )


def circle_blade(
    radius=RADIUS_MM, length=LENGTH_MM, *, bow=0.0, beta_deg=BETA_DEG, thickness_mm=0.71
):
    """A convex circle in a face that is planar unless bowed."""
    edge = arc_edge(
        [length], [-1 / radius], heading=length / 2 / radius, bow=bow, beta_deg=beta_deg
    )
    return one_edged(edge, beta_deg=beta_deg, thickness_mm=thickness_mm)


def straight_blade(length=LENGTH_MM, *, beta_deg=BETA_DEG, thickness_mm=0.71):
    """A straight edge in a planar face."""
    return one_edged(
        arc_edge([length], [0.0], beta_deg=beta_deg), beta_deg=beta_deg, thickness_mm=thickness_mm
    )


WHOLE_MM = 1e4  # a stroke so long touches all of any edge


def touching(blade, strokes=45.0, **changes):
    """A use by which every place of every edge of a blade is touched so many times."""
    lengths = [edge.length_mm for edge in blade.edges.values()]
    made = strokes * sum(lengths) / 2.0  # mm, as long as a stroke of which a law speaks
    use = {"strokes": made, "density": ek.laws.EvenUse(), "contact_mm": WHOLE_MM}
    return ek.Use(**use | changes)


def constant(blade):
    """The same with no difference between instruments, which come off the stone without radius."""
    return touching(blade, sharp_radius_um=0.0, sharp_radius_gsd=1.0, severity_gsd=1.0)


STROKE_FIELDS = ("spacing", "phase", "advance", "strokes_per_placement", "direction")


def ideal(placements, *, fraction=1.0, **changes):
    """Local strokes without any error that grind until every station, or a fraction, is clear."""
    stroke = {
        "spacing": ek.Spacing.EVEN,
        "phase": PlacementPhase.SAME,
        "advance": Advance.UNIFORM,
        "strokes_per_placement": 1,
    } | {name: changes.pop(name) for name in STROKE_FIELDS if name in changes}
    settings = {
        "name": "ideal",
        "guide": FollowEdge(),
        "stroke": ek.strokes.local(placements=placements, **stroke),
        "stop": ek.strokes.until_clear(fraction=fraction),
        "max_advance_um": 2000.0,
        "removal_gsd": 1.0,
    }
    return ek.Method(**(settings | changes))


def in_steps(strokes_per_placement=1, **stroke):
    """A hand that works up and down at one placement after another."""
    stroke["strokes_per_placement"] = strokes_per_placement
    return ek.methods.freehand(stroke=ek.strokes.local(**stroke))


def steady(method, *, fraction=None, **changes):
    """The same method with a hand that never errs."""
    if fraction is not None:
        changes["stop"] = ek.strokes.until_clear(fraction=fraction)
    return dataclasses.replace(method, hand=ek.Hand(), removal_gsd=1.0, **changes)


def ground_once(blade, method, *, radius_um=4.0, seed=0, **nodes):
    return ek.sharpen(
        blade, method, dull_radius_um=radius_um, rng=np.random.default_rng(seed), **nodes
    )
