"""One table of bad input to the public functions of geometry and contact.

Each row: what is called, a part of what the error says is wrong, a part of the remedy, and the
value it must show.
"""

import dataclasses
import math

import numpy as np
import pytest
import sympy

import edgekit as ek
from edgekit.contact.facets import evenly_placed, placed_by_curvature
from edgekit.contact.holder import held_normals
from edgekit.geometry.curve import SplineCurve, SymbolicCurve
from edgekit.geometry.path import BentArcs
from edgekit.geometry.section import Bevel, RoundBack, Triangular

NAN, INF = math.nan, math.inf
U = np.linspace(-0.4, 0.4, 41)
ARC = np.stack([6.7 * np.sin(U), 6.7 * np.cos(U), 0 * U], axis=1)
X = sympy.Symbol("x")
GIVEN = {
    "face_normals": (0, 0, 1),
    "internal_angle_deg": 75,
    "handle_axis": (0, 0, -1),
    "inward": (0, -1, 0),
}
PATTERN = ek.patterns


def points(**change):
    """`Edge.from_points` on a good circle with some arguments changed."""
    given = {"points_mm": ARC, **GIVEN, **change}
    return lambda: ek.Edge.from_points(given.pop("points_mm"), **given)


def with_row(row, values, array=ARC):
    """The array with one row replaced."""
    array = np.array(array)
    array[row] = values
    return array


def normals(row, values):
    return with_row(row, values, np.tile([0.0, 0.0, 1.0], (41, 1)))


def edge():
    return ek.Edge.from_points(ARC, **GIVEN)


def hollow():
    return ek.Edge.from_points(ARC, **{**GIVEN, "inward": (0, 1, 0)})


def swap(a, b):
    array = np.array(ARC)
    array[[a, b]] = array[[b, a]]
    return array


def crossing():
    blade = PATTERN.universal_curette()
    left, right = blade.edges["left"], blade.edges["right"]
    return dataclasses.replace(
        blade, edges={"left": left, "right": right.moved(np.eye(3), (0, 0.9, 0))}
    )


def arcs(**change):
    given = {
        "start_mm": [0, 0],
        "heading_rad": 0.0,
        "lengths_mm": [1.0],
        "curvatures_per_mm": [0.1],
        **change,
    }
    return lambda: BentArcs(**given)


def symbolic(expressions=(X, 0, 0), domain=(0, 1)):
    return lambda: SymbolicCurve(expressions=expressions, parameter=X, domain=domain)


def held(call):
    return lambda: call(edge())


TABLE = {
    # ---- points of an edge ---------------------------------------------------------------
    "a point is NaN": (
        points(points_mm=with_row(7, (NAN, 0, 0))),
        "entry (7, 0)",
        "Remove or correct",
        "nan",
    ),
    "a point is infinite": (
        points(points_mm=with_row(3, (0, INF, 0))),
        "entry (3, 1)",
        "Remove or correct",
        "inf",
    ),
    "two points swapped": (
        points(points_mm=swap(10, 11)),
        "turns back on itself at row",
        "in order",
        str(ARC[10, 0])[:6],
    ),
    "shuffled points": (
        points(points_mm=np.random.default_rng(1).permutation(ARC)),
        "turns back",
        "in order",
        "[",
    ),
    "halves in the wrong order": (
        points(points_mm=np.roll(ARC, 20, axis=0)),
        "turns back",
        "in order",
        "[",
    ),
    "a duplicate point": (
        points(points_mm=with_row(9, ARC[8])),
        "repeats a point in rows 8 and 9",
        "Remove one",
        str(ARC[8, 0])[:6],
    ),
    "three points": (points(points_mm=ARC[::20]), "4 points or more", "Digitise more", "3"),
    "no points": (points(points_mm=np.zeros((0, 3))), "4 points or more", "Digitise more", "0"),
    "metres as millimetres": (
        points(points_mm=ARC / 1000),
        "between 0.1 and 200",
        "not metres",
        "0.0053",
    ),
    "micrometres as millimetres": (
        points(points_mm=ARC * 1000),
        "between 0.1 and 200",
        "millimetres",
        "53",
    ),
    "flat points": (points(points_mm=ARC[:, :2]), "shape (N, 3)", "Reshape", "(41, 2)"),
    "a table of tables": (points(points_mm=ARC[None]), "shape (N, 3)", "Reshape", "(1, 41, 3)"),
    "points that are text": (
        points(points_mm=[["a", "b", "c"]] * 5),
        "array of numbers",
        "text",
        "'a'",
    ),
    "ragged points": (
        points(points_mm=[[0, 0, 0], [1, 0]]),
        "array of numbers",
        "ragged",
        "[1, 0]",
    ),
    "points that are nothing": (points(points_mm=None), "array of numbers", "real numbers", "None"),
    # ---- directions ----------------------------------------------------------------------
    "a null handle axis": (
        points(handle_axis=(0, 0, 0)),
        "handle_axis has a null",
        "direction",
        "0.",
    ),
    "a handle axis of two": (
        points(handle_axis=(0, 1)),
        "handle_axis must have shape (3)",
        "Reshape",
        "(2,)",
    ),
    "a NaN handle axis": (
        points(handle_axis=(0, NAN, 1)),
        "handle_axis must be finite",
        "correct",
        "nan",
    ),
    "a null face normal": (
        points(face_normals=(0, 0, 0)),
        "face_normals has a null",
        "direction",
        "0.",
    ),
    "a null normal in one row": (
        points(face_normals=normals(5, 0)),
        "null vector in row 5",
        "direction",
        "0.",
    ),
    "a normal that turns over": (
        points(face_normals=normals(5, (0, 0, -1))),
        "turn over between rows 4 and 5",
        "point out of the steel",
        "-1.0",
    ),
    "normals along the edge": (
        points(face_normals=(1, 0, 0)),
        "square to the edge",
        "not the direction",
        "1.0",
    ),
    "too few normals": (
        points(face_normals=[[0, 0, 1]] * 40),
        "face_normals must have shape (41, 3)",
        "one row per point",
        "(40, 3)",
    ),
    "a normal that is text": (points(face_normals="up"), "array of numbers", "text", "'up'"),
    "inward along the edge": (
        points(inward=(1, 0, 0)),
        "across the edge",
        "vector in the face",
        "[1, 0, 0]",
    ),
    "inward null": (points(inward=(0, 0, 0)), "inward has a null", "direction", "0."),
    # ---- internal angle ------------------------------------------------------------------
    "radians for degrees": (
        points(internal_angle_deg=1.309),
        "between 10 and 170",
        "did you mean 75.0",
        "1.309",
    ),
    "radians in an array": (
        points(internal_angle_deg=np.full(41, 1.309)),
        "between 10 and 170",
        "did you mean 75.0",
        "1.309",
    ),
    "an angle of 0": (points(internal_angle_deg=0), "between 10 and 170", "degrees", "0"),
    "an angle of 180": (points(internal_angle_deg=180), "between 10 and 170", "degrees", "180"),
    "a negative angle": (points(internal_angle_deg=-75), "between 10 and 170", "degrees", "-75"),
    "an angle that is NaN": (points(internal_angle_deg=NAN), "must be finite", "degrees", "nan"),
    "an angle that is text": (
        points(internal_angle_deg="sharp"),
        "must be a number",
        "degrees",
        "sharp",
    ),
    "too few angles": (
        points(internal_angle_deg=[75.0] * 7),
        "internal_angle_deg must have shape (41)",
        "one row per point",
        "(7,)",
    ),
    "an angle of nothing": (
        lambda: Triangular(width_mm=0.8, internal_angle_deg=None),
        "must be a number",
        "degrees",
        "None",
    ),
    # ---- edges -----------------------------------------------------------------------------
    "a side of 0": (
        lambda: dataclasses.replace(edge(), side=0),
        "side must be 1 or -1",
        "steel",
        "0",
    ),
    "a stretch that runs down": (
        held(lambda e: e.stretch(3, 1)),
        "run upwards",
        "from the heel",
        "(3.0, 1.0)",
    ),
    "a stretch past the toe": (
        held(lambda e: e.stretch(3, 9)),
        "within 0 to 5.36",
        "millimetres",
        "9.0",
    ),
    "a stretch of text": (
        held(lambda e: e.stretch("heel", 2)),
        "from_mm must be a number",
        "finite",
        "heel",
    ),
    "a NaN arc length": (
        held(lambda e: e.frame(np.array([1.0, NAN]))),
        "arc_mm must be finite",
        "arc",
        "nan",
    ),
    "a matrix that shears": (
        held(lambda e: e.moved([[1, 1, 0], [0, 1, 0], [0, 0, 1]])),
        "orthogonal",
        "rotation",
        "1.0",
    ),
    "a matrix of two": (held(lambda e: e.moved(np.eye(2))), "shape (3, 3)", "Reshape", "(2, 2)"),
    "an offset of two": (
        held(lambda e: e.moved(np.eye(3), (0, 1))),
        "offset_mm",
        "Reshape",
        "(2,)",
    ),
    "a blade moved by a vector": (
        lambda: PATTERN.hoe().moved([1, 2, 3]),
        "matrix must have shape",
        "Reshape",
        "(3,)",
    ),
    "crossing edges": (crossing, "edges cross or touch", "heel to toe", "mm from the heel"),
    "a blade without edges": (
        lambda: dataclasses.replace(PATTERN.hoe(), edges={}),
        "needs an edge",
        "Give one edge",
        "{}",
    ),
    # ---- curves ----------------------------------------------------------------------------
    "a domain that runs down": (symbolic(domain=(1, 0)), "run upwards", "(first, last)", "0"),
    "a domain of one": (symbolic(domain=(1,)), "domain must have shape (2)", "Reshape", "(1,)"),
    "a domain of text": (symbolic(domain=("a", 1)), "array of numbers", "text", "'a'"),
    "a stray symbol": (
        symbolic((X, sympy.Symbol("R"), 0)),
        "no symbol but the parameter",
        "Substitute",
        "'R'",
    ),
    "an expression that is none": (
        symbolic(("cos(", 0, 0)),
        "sympy expressions",
        "one expression",
        "cos(",
    ),
    "spline parameters that repeat": (
        lambda: SplineCurve.through([0, 1, 1, 2], np.zeros((4, 3))),
        "must increase",
        "Sort",
        "1.0",
    ),
    "spline of three values": (
        lambda: SplineCurve.through([0, 1, 2], np.zeros((3, 3))),
        "4 values or more",
        "as many",
        "(3,)",
    ),
    "spline of NaN": (
        lambda: SplineCurve.through(range(4), [0, NAN, 1, 2]),
        "values must be finite",
        "correct",
        "nan",
    ),
    "an arc of no length": (
        arcs(lengths_mm=[0.0]),
        "lengths_mm must be above 0",
        "one length",
        "0.0",
    ),
    "arcs without curvature": (
        arcs(curvatures_per_mm=[0.1, 0.2]),
        "curvatures_per_mm must have shape (1)",
        "Reshape",
        "(2,)",
    ),
    "a heading of NaN": (arcs(heading_rad=NAN), "heading_rad must be finite", "finite", "nan"),
    # ---- sections and patterns ---------------------------------------------------------------
    "a negative width": (
        lambda: PATTERN.universal_curette(width_mm=-0.8),
        "width_mm must be above 0",
        "the blade's width",
        "-0.8",
    ),
    "a width of text": (
        lambda: PATTERN.straight_sickle(width_mm="wide"),
        "width_mm must be a number",
        "finite",
        "wide",
    ),
    "a width of NaN": (
        lambda: PATTERN.hoe(width_mm=NAN),
        "width_mm must be finite",
        "finite",
        "nan",
    ),
    "a pattern in radians": (
        lambda: PATTERN.area_specific_curette(internal_angle_deg=1.309),
        "between 10 and 170",
        "did you mean 75.0",
        "1.309",
    ),
    "a section too thick": (
        lambda: PATTERN.universal_curette(thickness_mm=2.0),
        "thickness_mm must lie between",
        "against each other",
        "2.0",
    ),
    "a section too thin": (
        lambda: RoundBack(width_mm=0.86, thickness_mm=0.2, internal_angle_deg=75),
        "(all round)",
        "against each other",
        "0.2",
    ),
    "an obtuse round back": (
        lambda: RoundBack(width_mm=0.86, thickness_mm=0.7, internal_angle_deg=95),
        "between 0 and 90",
        "acute",
        "95",
    ),
    "a bevel that outruns the width": (
        lambda: Bevel(width_mm=0.5, thickness_mm=0.6, internal_angle_deg=45),
        "0.5 or less",
        "against each other",
        "0.6",
    ),
    "sides that bulge too much": (
        lambda: PATTERN.universal_curette(plan_radius_mm=5.0),
        "plan_radius_mm must exceed",
        "straighten",
        "5.0",
    ),
    "a plan radius below the width": (
        lambda: PATTERN.area_specific_curette(plan_radius_mm=0.5),
        "plan_radius_mm",
        "larger than",
        "0.5",
    ),
    "a blade longer than half a circle": (
        lambda: PATTERN.area_specific_curette(length_mm=30.0),
        "less than half a circle",
        "Check",
        "30.0",
    ),
    "a bow of nothing": (
        lambda: PATTERN.curved_sickle(bow_radius_mm=0.0),
        "bow_radius_mm",
        "inf for straight",
        "0.0",
    ),
    "a tilt past square": (
        lambda: PATTERN.universal_curette(face_tilt_deg=95),
        "face_tilt_deg must lie",
        "between",
        "95",
    ),
    "a bend of NaN": (
        lambda: PATTERN.universal_curette(shank_bend_deg=NAN),
        "shank_bend_deg",
        "finite",
        "nan",
    ),
    # ---- stones and orientation --------------------------------------------------------------
    "a rod of no radius": (
        lambda: ek.RodStone(radius_mm=0.0),
        "radius_mm must be above 0",
        "radius",
        "0.0",
    ),
    "a stone of negative length": (
        lambda: ek.FlatStone(length_mm=-5.0),
        "length_mm of a stone",
        "millimetres",
        "-5.0",
    ),
    "a stone of NaN": (
        lambda: ek.FlatStone(length_mm=NAN),
        "length_mm of a stone",
        "millimetres",
        "nan",
    ),
    "a stone of text": (
        lambda: ek.FlatStone(length_mm="long"),
        "must be a number",
        "millimetres",
        "long",
    ),
    "a cone that narrows": (
        lambda: ek.ConeStone(small_radius_mm=3.0, large_radius_mm=2.0, length_of_axis_mm=9.0),
        "large_radius_mm",
        "wider",
        "2.0",
    ),
    "a single station": (
        held(lambda e: ek.orient(e, stations=1)),
        "stations",
        "whole number of 2",
        "1",
    ),
    "half a station": (
        held(lambda e: ek.orient(e, stations=9.5)),
        "stations",
        "whole number",
        "9.5",
    ),
    "stations as a bool": (
        held(lambda e: ek.orient(e, stations=True)),
        "stations",
        "whole number",
        "True",
    ),
    "a negative gouge depth": (
        held(lambda e: ek.orient(e, stations=5).gouges(-0.7)),
        "depth_mm must be above 0",
        "flank",
        "-0.7",
    ),
    # ---- holder --------------------------------------------------------------------------------
    "a tolerance of 0": (
        held(lambda e: ek.best_setting(e, tolerance_deg=0)),
        "tolerance_deg",
        "degrees, such as 2",
        "0",
    ),
    "a negative tolerance": (
        held(lambda e: ek.settings_needed(e, tolerance_deg=-2)),
        "tolerance_deg",
        "degrees",
        "-2",
    ),
    "a tolerance of text": (
        held(lambda e: ek.best_setting(e, tolerance_deg="two")),
        "tolerance_deg must be",
        "degrees",
        "two",
    ),
    "an elevation past upright": (
        held(lambda e: ek.setting_at(e, 120.0)),
        "elevation_deg must lie",
        "-90 and 90",
        "120.0",
    ),
    "an elevation of NaN": (
        held(lambda e: ek.setting_at(e, NAN)),
        "elevation_deg",
        "between",
        "nan",
    ),
    "a holder at 200 degrees": (
        lambda: ek.Holder().fit(200.0),
        "elevation_deg",
        "-90 and 90",
        "200.0",
    ),
    "a holder without reach": (lambda: ek.Holder(reach_mm=0.0), "reach_mm", "millimetres", "0.0"),
    "a schedule of no time": (
        held(lambda e: ek.roll_schedule(ek.best_setting(e), seconds=0)),
        "seconds",
        "above 0",
        "0",
    ),
    "a schedule of half steps": (
        held(lambda e: ek.roll_schedule(ek.best_setting(e), seconds=9, steps=2.5)),
        "steps",
        "whole number of 2",
        "2.5",
    ),
    "held at a NaN arc length": (
        held(lambda e: held_normals(e, 15.0, np.array([NAN]))),
        "arc_mm must be finite",
        "arc",
        "nan",
    ),
    # ---- facets --------------------------------------------------------------------------------
    "no placements": (held(lambda e: ek.facets(e, 0)), "placements", "whole number of 1", "0"),
    "placements as a bool": (
        held(lambda e: ek.facets(e, True)),
        "placements",
        "whole number",
        "True",
    ),
    "placements as text": (
        held(lambda e: ek.facets(e, "many")),
        "placements",
        "whole number",
        "many",
    ),
    "an empty list of placements": (
        held(lambda e: ek.facets(e, [])),
        "one position or more",
        "arc",
        "[]",
    ),
    "a placement past the toe": (
        held(lambda e: ek.facets(e, [1.0, 7.5])),
        "placements must be between 0 and 5.36",
        "from the heel",
        "7.5",
    ),
    "a placement of NaN": (
        held(lambda e: ek.facets(e, [1.0, NAN])),
        "placements must be finite",
        "correct",
        "nan",
    ),
    "a negative depth": (
        held(lambda e: ek.facets(e, 4, depth_um=-3.0)),
        "depth_um must be 0 or more",
        "micrometres",
        "-3.0",
    ),
    "a depth of NaN": (
        held(lambda e: ek.facets(e, 4, depth_um=NAN)),
        "depth_um",
        "micrometres",
        "nan",
    ),
    "a ridge of 0": (
        held(lambda e: ek.placements_for(e, ridge_um=0)),
        "ridge_um must be above 0",
        "micrometres",
        "0",
    ),
    "a negative ridge": (
        held(lambda e: ek.spaced_placements(e, ridge_um=-1)),
        "ridge_um must be above 0",
        "micrometres",
        "-1",
    ),
    "a search of no counts": (
        held(lambda e: ek.placements_for(e, ridge_um=5, most=0)),
        "most",
        "whole number of 1",
        "0",
    ),
    "too few counts allowed": (
        held(lambda e: ek.placements_for(e, ridge_um=1, most=3)),
        "no count up to 3",
        "higher ridges",
        "1",
    ),
    "a count for a hollow edge": (
        lambda: ek.placements_for(hollow(), ridge_um=5),
        "hollow overall",
        "Use a rod",
        "a turn of -44",
    ),
    "spacing on a hollow edge": (
        lambda: ek.spaced_placements(hollow(), ridge_um=5),
        "hollow overall",
        "Use a rod",
        "a turn of -44",
    ),
    "half a placement": (
        held(lambda e: evenly_placed(e, 2.5)),
        "placements",
        "whole number",
        "2.5",
    ),
    "a negative count": (
        held(lambda e: placed_by_curvature(e, -2)),
        "placements",
        "whole number",
        "-2",
    ),
    # ---- the wrong object ------------------------------------------------------------------------
    "a blade to orient": (
        lambda: ek.orient(PATTERN.universal_curette()),
        "edge must be an Edge",
        "blade.edges['left']",
        "universal curette",
    ),
    "a blade to hold": (
        lambda: ek.best_setting(PATTERN.area_specific_curette()),
        "edge must be an Edge",
        "blade.edges['used']",
        "area-specific curette",
    ),
    "a blade to facet": (
        lambda: ek.facets(PATTERN.hoe(), 4),
        "edge must be an Edge",
        "blade.edges['edge']",
        "hoe",
    ),
    "a blade to place by curvature": (
        lambda: placed_by_curvature(PATTERN.hoe(), 4),
        "edge must be an Edge",
        "blade.edges['edge']",
        "hoe",
    ),
    "a path to space placements on": (
        lambda: ek.spaced_placements("edge.toml", ridge_um=5),
        "edge must be an Edge",
        "one of a blade's edges",
        "edge.toml",
    ),
    "the width to a blade": (
        held(lambda e: ek.width_between(e, PATTERN.hoe(), np.array([1.0]))),
        "edge must be an Edge",
        "blade.edges['edge']",
        "hoe",
    ),
    "a stone by name": (
        held(lambda e: ek.orient(e, "flat")),
        "stone must be a Stone",
        "FlatStone",
        "flat",
    ),
    "a schedule of an edge": (
        held(lambda e: ek.roll_schedule(e, seconds=9)),
        "setting must be a Setting",
        "best_setting",
        "Edge(",
    ),
    "a table of edges": (
        held(lambda e: ek.settings_table([e])),
        "setting must be a Setting",
        "best_setting",
        "Edge(",
    ),
    "a curve by name": (
        lambda: ek.Edge.from_curve("circle", **GIVEN),
        "curve must be a Curve",
        "SymbolicCurve",
        "circle",
    ),
    # ---- sizes that no machine holds -------------------------------------------------------------
    "stations without end": (
        held(lambda e: ek.orient(e, stations=10**9)),
        "stations must be 100,000 or less (they would take 400 GB)",
        "at most 100,000",
        "1000000000",
    ),
    "settings at stations without end": (
        held(lambda e: ek.settings_needed(e, stations=10**9)),
        "stations must be 100,000 or less",
        "at most",
        "1000000000",
    ),
    "placements without end": (
        held(lambda e: ek.facets(e, 10**9)),
        "placements must be 10,000 or less",
        "at most",
        "1000000000",
    ),
    "a list of placements without end": (
        held(lambda e: ek.facets(e, np.linspace(0, 5, 10_001))),
        "placements must be 10,000 or less",
        "at most",
        "10001",
    ),
    "placements and stations that multiply": (
        held(lambda e: ek.facets(e, 5000, stations=50_000)),
        "stations must be 5,000 or less (they would take 8 GB)",
        "at most",
        "50000",
    ),
    "a search without end": (
        held(lambda e: ek.placements_for(e, ridge_um=5, most=10**9)),
        "most must be 10,000 or less",
        "at most",
        "1000000000",
    ),
    "a schedule without end": (
        held(lambda e: ek.roll_schedule(ek.best_setting(e), seconds=9, steps=10**9)),
        "steps must be 100,000 or less",
        "at most",
        "1000000000",
    ),
}


@pytest.mark.parametrize("case", TABLE.values(), ids=TABLE.keys())
def test_bad_input_is_refused_with_its_value_and_a_remedy(case):
    call, what, remedy, shown = case
    with pytest.raises(ek.EdgekitError) as caught:
        call()
    error = caught.value
    assert what in error.what
    assert remedy in error.remedy
    assert shown in repr(error.value)
    assert error.what in str(error)
    assert error.remedy in str(error)
    assert repr(error.value)[:100] in str(error)
    assert isinstance(error, ValueError)


def test_the_table_is_long_enough():
    assert len(TABLE) >= 40


def test_the_callers_arrays_are_neither_kept_nor_changed():
    points = np.array(ARC)
    made = ek.Edge.from_points(points, **GIVEN)
    before = made.frame(np.array(1.0)).position
    assert points.flags.writeable
    np.testing.assert_array_equal(points, ARC)
    points += 1
    np.testing.assert_array_equal(made.frame(np.array(1.0)).position, before)
