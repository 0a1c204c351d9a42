"""Blades in files: a settings file in TOML beside a table of points in CSV.

The settings file ``name.toml``::

    format = "edgekit blade 1"
    name = "FH-03-AS1"
    kind = "area-specific curette"      # a value of BladeClass
    source = "trace"                    # "trace", "points" or "pattern"
    points = "name.csv"                 # beside this file; not for a pattern
    order = "heel to toe"               # or "toe to heel"
    face = "planar"                     # or "bowed"; traces only
    face_up = [0.0, 0.0, 1.0]           # roughly out of the face; traces only
    handle_axis = [0.0, 0.342, -0.940]  # from handle to working end
    internal_angle_deg = 75.0
    internal_angle_sd_deg = 1.5         # optional
    thickness_mm = 0.71                 # not for sickles
    width_mm = 0.86                     # optional: width when new, where the points show less
    noise_um = 10.0                     # optional, what the digitising is thought to have:
                                        # steps below ten times this say nothing about order
    note = "free text"                  # optional

    [pattern]                           # source = "pattern": its name and arguments

The table of points has the columns ``curve, x_mm, y_mm, z_mm``; `curve` is ``left``, ``right``,
``used``, ``unused``, ``edge``, or ``face`` for further points on the face. A table with source
"points" holds exact points and adds ``face_x, face_y, face_z, internal_angle_deg``. Lines that start
with ``#`` are remarks.
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from edgekit.checks import FloatArray, at_least, positive, vectors
from edgekit.digitising.file_format import (
    AXES,
    EXACT,
    BladeFile,
    FileFault,
    Rows,
    faults_in,
    read_settings,
    read_table,
    settings_file_there,
)
from edgekit.digitising.smoothing import FaceFit, SmoothedCurve, fit_bowed, fit_plane, smooth_curve
from edgekit.errors import EdgekitError
from edgekit.evidence_table import value
from edgekit.geometry import patterns
from edgekit.geometry import vectors as vec
from edgekit.geometry.blade import Blade, BladeClass, check_apart, width_between
from edgekit.geometry.curve import Constant, SplineCurve, chord_parameter
from edgekit.geometry.edge import Edge, check_angle_deg, check_points
from edgekit.geometry.path import CurvePath
from edgekit.geometry.section import Bevel, RoundBack, Section, Triangular
from edgekit.geometry.trace import EdgeTrace, Trace

__all__ = ["read_blade"]

MIN_TRACE_POINTS = 8  # fewer cannot be told from noise
BLUR = 10.0  # times the noise: between clicks this close the direction is chance
FACE_MISFIT = 4.0  # times the noise along the edges: the face has another shape than stated
MIN_FACE_LEAN = 0.3  # cosine between face_up and the face fitted: it need only tell the sides
WIDTH_SHARE = (0.4, 1.2)  # of the width stated that the points may show: worn, never grown
_EDGE_NAMES = {
    BladeClass.UNIVERSAL: ("left", "right"),
    BladeClass.STRAIGHT_SICKLE: ("left", "right"),
    BladeClass.CURVED_SICKLE: ("left", "right"),
    BladeClass.AREA_SPECIFIC: ("used", "unused"),
    BladeClass.HOE: ("edge",),
}


def read_blade(path: str | FilePath) -> Blade:
    """Read a blade from its settings file (or from the CSV of the same stem).

    Points of a trace are smoothed by the rule stated in `edgekit.digitising.smoothing`;
    ``blade.trace.edges[name].normal_sd_deg`` reports the uncertainty of the lateral normal.

    Parameters
    ----------
    path : str or Path
        The settings file. ``.toml`` may be left out: "FH-03.1" finds ``FH-03.1.toml``.

    Returns
    -------
    Blade

    Raises
    ------
    EdgekitError
        Names file, line and column of what is wrong.

    Examples
    --------
    >>> import edgekit as ek, tempfile, pathlib
    >>> blade = ek.patterns.universal_curette(name="demo")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = ek.write_blade(blade, pathlib.Path(folder) / "demo.toml")
    ...     ek.read_blade(file).name
    'demo'
    """
    file = settings_file_there(path)
    settings = read_settings(file)
    source = settings.text("source", ("trace", "points", "pattern"))
    if source == "pattern":
        return _from_pattern(settings)
    kind = BladeClass(settings.text("kind", tuple(k.value for k in BladeClass)))
    order = settings.text("order", ("heel to toe", "toe to heel"))
    table = file.parent / settings.text("points")
    columns = AXES + (EXACT if source == "points" else ())
    rows = read_table(table, (*_EDGE_NAMES[kind], "face"), columns)
    if order == "toe to heel":
        rows = {name: curve.reversed() for name, curve in rows.items()}
    with faults_in(table):
        for name in _EDGE_NAMES[kind]:
            if name not in rows and name != "unused":
                raise EdgekitError(
                    f"points of curve {name} are missing", sorted(rows), f"Digitise {name}."
                )
        if source == "points":
            return _from_exact(settings, kind, rows, table)
        return _from_trace(settings, kind, rows)


def _from_pattern(settings: BladeFile) -> Blade:
    given = settings.items.get("pattern")
    if not isinstance(given, dict):
        raise FileFault(
            f"{settings.place('pattern')} must be a table",
            given,
            "Add [pattern] and below it its name and arguments.",
        )
    function = given.get("pattern")
    if function not in patterns.__all__:
        raise FileFault(
            f"{settings.file.name}: [pattern] pattern must be one of {', '.join(patterns.__all__)}",
            function,
            "Name the pattern.",
        )
    make = getattr(patterns, function)
    inner = BladeFile(file=settings.file, items=given, lines=settings.lines)
    arguments: dict[str, Any] = {}
    for key in given.keys() - {"pattern"}:
        if key not in inspect.signature(make).parameters:
            raise FileFault(
                f"{inner.place(key)} is no argument of {function}", given[key], "Remove the line."
            )
        endless = key.endswith("radius_mm") and given[key] == math.inf
        get = inner.text if key == "name" else inner.number
        arguments[key] = math.inf if endless else get(key)
    with faults_in(settings.file):
        return make(**arguments)  # type: ignore[no-any-return]


def _edge_rows(kind: BladeClass, rows: Mapping[str, Rows]) -> dict[str, Rows]:
    return {name: rows[name] for name in _EDGE_NAMES[kind] if name in rows}


def _from_exact(
    settings: BladeFile, kind: BladeClass, rows: Mapping[str, Rows], table: FilePath
) -> Blade:
    axis = settings.vector("handle_axis")
    edges = {}
    for name, curve in _edge_rows(kind, rows).items():
        points, normals = curve.values[:, :3], curve.values[:, 3:6]
        check_points(f"points of curve {name}", points, lines=curve.lines)
        for line, row in zip(curve.lines, curve.values, strict=True):
            place = f"{table.name}, line {line}, column"
            with settings.named():
                check_angle_deg(f"{place} internal_angle_deg", row[6])
                vectors(f"{place}s face_x, face_y, face_z", row[None, 3:6])
        edges[name] = Edge.from_points(
            points,
            face_normals=normals,
            internal_angle_deg=curve.values[:, 6],
            handle_axis=axis,
            inward=_inward(name, rows, normals.mean(axis=0)),
        )
    return _assemble(settings, kind, edges, _trace(settings, rows, {}))


def _from_trace(settings: BladeFile, kind: BladeClass, rows: Mapping[str, Rows]) -> Blade:
    place = settings.place
    beta = settings.number("internal_angle_deg")
    beta_sd = settings.number("internal_angle_sd_deg", value("trace_angle_sd_deg"))
    noise_um = settings.number("noise_um", value("trace_noise_um"))
    with settings.named():
        check_angle_deg(place("internal_angle_deg"), beta)
        at_least(place("internal_angle_sd_deg"), beta_sd, 0.0)
        positive(place("noise_um"), noise_um)
    axis = settings.vector("handle_axis")
    ends = _edge_rows(kind, rows)
    for name, curve in ends.items():
        check_points(
            f"points of curve {name}",
            curve.values,
            MIN_TRACE_POINTS,
            blur_mm=BLUR * noise_um / 1000,
            lines=curve.lines,
        )
    smooth = {name: smooth_curve(curve.values) for name, curve in ends.items()}
    face = _face(settings, rows, max(curve.noise_um for curve in smooth.values()))
    edges, reports = {}, {}
    for name, fitted in smooth.items():
        path = _path_on(face, fitted)
        middle = path.at(np.array(path.length_mm / 2))
        across = vec.cross(middle.face.value, middle.tangent.value)
        edge = edges[name] = Edge(
            path=path,
            internal_angle=Constant(value=np.radians(np.asarray(beta))),
            handle_axis=axis,
            side=1 if across @ _inward(name, rows, face.axes[2]) > 0 else -1,
            roll_reference=middle.tangent.value,
        )
        reports[name] = _uncertainty(fitted, face, edge, beta_sd)
    return _assemble(settings, kind, edges, _trace(settings, rows, reports))


def _trace(
    settings: BladeFile, rows: Mapping[str, Rows], reports: Mapping[str, EdgeTrace]
) -> Trace:
    points = {name: curve.values for name, curve in rows.items()}
    return Trace(settings=settings.items, points_mm=points, edges=reports)


def _face(settings: BladeFile, rows: Mapping[str, Rows], noise_um: float) -> FaceFit:
    """The face as the settings describe it, refused where the points contradict them."""
    up = settings.vector("face_up", (0.0, 0.0, 1.0))
    shape = settings.text("face", ("planar", "bowed")) if "face" in settings.items else "planar"
    points = np.concatenate([curve.values for curve in rows.values()])
    face = (fit_plane if shape == "planar" else fit_bowed)(points, up)
    if not face.axes[2] @ up > MIN_FACE_LEAN:
        raise FileFault(
            f"{settings.place('face_up')} lies along the face",
            up.tolist(),
            "Give a direction roughly square to the face, out of the steel.",
        )
    if not face.noise_um < FACE_MISFIT * max(noise_um, value("trace_noise_um")):
        raise EdgekitError(
            f"the points stand off a {shape} face by far more than the noise of {noise_um:.0f} µm",
            f"{face.noise_um:.0f} µm",
            'Set face = "bowed", or look for a curve on the wrong level.',
        )
    return face


def _path_on(face: FaceFit, smooth: SmoothedCurve) -> CurvePath:
    u = np.linspace(*smooth.curve.domain, 6 * len(smooth.parameter))
    normals = SplineCurve.through(u, face.normals(smooth.curve.derivatives(u, 0)[0]))
    return CurvePath(curve=smooth.curve, normals=normals, panels=max(256, 2 * len(u)))


def _uncertainty(smooth: SmoothedCurve, face: FaceFit, edge: Edge, beta_sd_deg: float) -> EdgeTrace:
    """Spread of the normal n = -sinβ b - cosβ f along the edge and about it.

    A tangent wrong by a vector e across it takes e·b and e·f out of b and f, and so turns n along
    the edge by e·n: the lean towards n is the one that counts.
    """
    u = np.linspace(*smooth.curve.domain, 101)
    arc = edge.path.arc_of(u)  # type: ignore[attr-defined]
    frame = edge.frame(arc)
    swing = np.degrees(smooth.direction_sd_rad(u, frame.outward.value))
    tilt = np.degrees(face.tilt_sd_rad(frame.position, frame.tangent.value))
    return EdgeTrace(
        noise_um=smooth.noise_um,
        freedom=smooth.freedom,
        arc_mm=arc,
        swing_sd_deg=swing,
        tilt_sd_deg=np.hypot(tilt, beta_sd_deg),
    )


def _inward(name: str, rows: Mapping[str, Rows], up: FloatArray) -> FloatArray:
    """A vector at mid-edge into the steel: towards the other edge, or away from the bulge."""
    here = rows[name].values[:, :3]
    along = chord_parameter(here)
    middle = here[np.searchsorted(along, along[-1] / 2)]
    other = [curve.values[:, :3] for key, curve in rows.items() if key not in (name, "face")]
    target = other or [rows[key].values[:, :3] for key in rows if key == "face"]
    if target:
        cloud = np.concatenate(target)
        return np.asarray(cloud[np.argmin(np.linalg.norm(cloud - middle, axis=1))] - middle)
    tangent = here[-1] - here[0]
    bulge = middle - (here[0] + here[-1]) / 2
    across = vec.cross(np.asarray(up), tangent)
    return -across if across @ bulge > 0 else across


def _assemble(
    settings: BladeFile, kind: BladeClass, edges: Mapping[str, Edge], trace: Trace
) -> Blade:
    unused = edges.get("unused")
    ground = {name: edge for name, edge in edges.items() if name != "unused"}
    first, *others = ground.values()
    far = others[0] if others else unused
    width = _width(settings, kind, first, far)
    with faults_in(settings.file):
        section = _section(kind, width, settings, first.nominal_angle_deg)
    return Blade(
        name=settings.text("name") if "name" in settings.items else "",
        kind=kind,
        edges=ground,
        unused=unused,
        section=section,
        trace=trace,
    )


def _width(settings: BladeFile, kind: BladeClass, edge: Edge, far: Edge | None) -> float:
    """Width of the section: as the file states it, else between the edges."""
    if far is None:
        return settings.number("width_mm")
    check_apart(edge, far)  # before a width that means nothing is blamed on the section
    sickle = kind in (BladeClass.STRAIGHT_SICKLE, BladeClass.CURVED_SICKLE)
    arc = np.array([edge.length_mm * (0.02 if sickle else 0.5)])  # a sickle's widest part: its heel
    between = float(width_between(edge, far, arc)[0][0])
    width = settings.number("width_mm", between)
    low, high = WIDTH_SHARE
    if not low * width < between < high * width:
        raise FileFault(
            f"{settings.place('width_mm')} does not fit the points, {between:.3g} mm apart",
            width,
            "Check both, and the unit: width_mm is the width when new, in millimetres.",
        )
    return width


def _section(kind: BladeClass, width: float, settings: BladeFile, beta_deg: float) -> Section:
    if kind in (BladeClass.STRAIGHT_SICKLE, BladeClass.CURVED_SICKLE):
        return Triangular(width_mm=width, internal_angle_deg=beta_deg)
    form = Bevel if kind is BladeClass.HOE else RoundBack
    return form(
        width_mm=width,
        thickness_mm=settings.number("thickness_mm"),
        internal_angle_deg=beta_deg,
    )
