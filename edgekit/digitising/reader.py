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
    thickness_mm = 0.71                 # at mid-length; not for sickles
    thickness_taper = 0.2               # thicker at the heel, thinner at the toe; 0 by default
    width_mm = 0.86                     # optional: width when new, where the points show less
    noise_um = 10.0                     # optional, what the digitising is thought to have:
                                        # steps below ten times this say nothing about order
    pose_sd_deg = 1.0                   # optional: how well the handle's direction to the face is
                                        # known, about x and about y (levelling, shank angle)
    end_sd_mm = 0.05                    # optional: how well the end at the toe is known
    note = "free text"                  # optional

    [pattern]                           # source = "pattern": its name and arguments

The table of points has the columns ``curve, x_mm, y_mm, z_mm``; `curve` is ``left``, ``right``,
``used``, ``unused``, ``edge``, or ``face`` for further points on the face. A table with source
"points" holds exact points and adds ``face_x, face_y, face_z, internal_angle_deg``. Lines that
start with ``#`` are remarks.
"""

from __future__ import annotations

import inspect
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from edgekit.checks import FloatArray
from edgekit.digitising import smoothing
from edgekit.digitising.blade_file import KEYS, BladeFile, Face, Order, Source
from edgekit.digitising.file_format import (
    Settings,
    read_settings,
    settings_file_there,
)
from edgekit.digitising.smoothing import FaceFit, SmoothedCurve, fit_face, smooth_curve
from edgekit.errors import EdgekitError, reading
from edgekit.evidence_table import value
from edgekit.geometry import patterns
from edgekit.geometry import vectors as vec
from edgekit.geometry.blade import (
    Blade,
    EdgeTrace,
    Trace,
    check_apart,
    section_of,
    width_between,
)
from edgekit.geometry.curve import SplineCurve, chord_parameter
from edgekit.geometry.edge import Edge, fixed_angle
from edgekit.geometry.path import CurvePath

__all__ = ["read_blade", "trace_blade"]

FACE_MISFIT = 4.0  # times the noise along the edges: the face has another shape than stated
MIN_FACE_LEAN = 0.3  # cosine between face_up and the face fitted: it need only tell the sides
WIDTH_SHARE = (0.4, 1.2)  # of the width stated that the points may show: worn, never grown
WIDEST_SHARE = 0.02  # of a sickle's edge from the heel to where it is measured

Curves = Mapping[str, FloatArray]


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
    settings = read_settings(settings_file_there(path))
    settings.only(KEYS)
    if settings.choice("source", Source) is Source.PATTERN:
        return _from_pattern(settings)
    file = BladeFile.of(settings)
    return _blade(file, file.curves())


def trace_blade(settings: Mapping[str, Any], points_mm: Curves) -> Blade:
    """A blade from the settings and the points of a trace, as if they stood in files."""
    items = {"points": "points.csv", "order": Order.FROM_HEEL.value, **settings}
    own = Settings(file=FilePath("trace"), items=items, lines={})
    return _blade(BladeFile.of(own), points_mm)


def _blade(file: BladeFile, curves: Curves) -> Blade:
    """The blade of checked settings and points."""
    with reading(file.points.name, named=False):
        edges, traces = (_exact if file.source is Source.POINTS else _smooth)(file, curves)
        unused = edges.pop("unused", None)
        first, *others = edges.values()
        width = _width(file, first, others[0] if others else unused)
    with reading(file.settings.file.name, named=False):
        section = section_of(file.kind, width, first.nominal_angle_deg, file.thickness_mm)
    return Blade(
        name=file.name,
        kind=file.kind,
        edges=edges,
        unused=unused,
        section=section,
        thickness_taper=file.thickness_taper,
        trace=Trace(settings=file.settings.items, points_mm=curves, edges=traces),
    )


def _from_pattern(settings: Settings) -> Blade:
    settings.text("note", otherwise="")
    given = settings.items.get("pattern")
    if not isinstance(given, Mapping):
        remedy = "Add [pattern] and below it its name and arguments."
        raise settings.fault("pattern", "must be a table", remedy)
    inner = replace(settings, items=given)
    make = getattr(patterns, inner.text("pattern", patterns.__all__))
    known = inspect.signature(make).parameters
    inner.only(["pattern", *known])
    arguments: dict[str, str | float] = {
        key: inner.text(key) if key == "name" else inner.number(key, patterns.argument)
        for key in given.keys() - {"pattern"}
    }
    if known.keys() - arguments.keys() == {"thickness_taper"}:
        arguments["thickness_taper"] = 0.0  # written whole, before there was a taper
    with reading(settings.file.name, named=False):
        return make(**arguments)  # type: ignore[no-any-return]


def _exact(file: BladeFile, curves: Curves) -> tuple[dict[str, Edge], dict[str, EdgeTrace]]:
    """Edges through exact points with their face normals and internal angles."""
    edges = {
        name: Edge.from_points(
            rows[:, :3],
            face_normals=rows[:, 3:6],
            internal_angle_deg=rows[:, 6],
            handle_axis=file.handle_axis,
            inward=_inward(name, curves, rows[:, 3:6].mean(axis=0)),
        )
        for name, rows in file.edges_of(curves).items()
    }
    return edges, {}


def _smooth(file: BladeFile, curves: Curves) -> tuple[dict[str, Edge], dict[str, EdgeTrace]]:
    """Edges along the smooth curves through digitised points, and how uncertain they are."""
    smooth = {name: smooth_curve(points) for name, points in file.edges_of(curves).items()}
    face = _face(file, curves, max(curve.noise_um for curve in smooth.values()))
    edges, traces = {}, {}
    for name, fitted in smooth.items():
        path, angle = _path_on(face, fitted), fixed_angle(file.internal_angle_deg)
        inward = _inward(name, curves, face.axes[2])
        edges[name] = Edge.along(path, angle, file.handle_axis, inward)
        traces[name] = _uncertainty(fitted, face, edges[name], file)
    return edges, traces


def _face(file: BladeFile, curves: Curves, noise_um: float) -> FaceFit:
    """The face as the settings describe it, refused where the points contradict them."""
    terms = smoothing.PLANAR if file.face is Face.PLANAR else smoothing.BOWED
    face = fit_face(np.concatenate(list(curves.values())), file.face_up, terms)
    if not face.axes[2] @ file.face_up > MIN_FACE_LEAN:
        remedy = "Give a direction roughly square to the face, out of the steel."
        raise file.settings.fault("face_up", "lies along the face", remedy)
    if not face.noise_um < FACE_MISFIT * max(noise_um, value("trace_noise_um")):
        raise EdgekitError(
            f"the points stand off a {file.face.value} face by far more than the noise of "
            f"{noise_um:.0f} µm",
            f"{face.noise_um:.0f} µm",
            'Set face = "bowed", or look for a curve on the wrong level.',
        )
    return face


def _path_on(face: FaceFit, smooth: SmoothedCurve) -> CurvePath:
    u = np.linspace(*smooth.curve.domain, 6 * len(smooth.parameter))
    normals = SplineCurve.through(u, face.normals(smooth.curve.derivatives(u, 0)[0]))
    return CurvePath(curve=smooth.curve, normals=normals, panels=max(256, 2 * len(u)))


def _uncertainty(smooth: SmoothedCurve, face: FaceFit, edge: Edge, file: BladeFile) -> EdgeTrace:
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
        tilt_sd_deg=np.hypot(tilt, file.internal_angle_sd_deg),
        pose_sd_deg=file.pose_sd_deg,
        end_sd_mm=file.end_sd_mm,
        internal_angle_sd_deg=file.internal_angle_sd_deg,
    )


def _inward(name: str, curves: Curves, up: FloatArray) -> FloatArray:
    """A vector at mid-edge into the steel: towards the other edge, or away from the bulge."""
    here = curves[name][:, :3]
    along = chord_parameter(here)
    middle = here[np.searchsorted(along, along[-1] / 2)]
    other = [points[:, :3] for key, points in curves.items() if key not in (name, "face")]
    target = other or [points[:, :3] for key, points in curves.items() if key == "face"]
    if target:
        cloud = np.concatenate(target)
        return np.asarray(cloud[np.argmin(np.linalg.norm(cloud - middle, axis=1))] - middle)
    tangent = here[-1] - here[0]
    bulge = middle - (here[0] + here[-1]) / 2
    across = vec.cross(up, tangent)
    return -across if across @ bulge > 0 else across


def _width(file: BladeFile, edge: Edge, far: Edge | None) -> float:
    """Width of the section: as the file states it, else between the edges."""
    if far is None:
        return file.settings.number("width_mm")
    check_apart(edge, far)  # before a width that means nothing is blamed on the section
    arc = np.array([edge.length_mm * (WIDEST_SHARE if file.kind.tapers else 0.5)])
    between = float(width_between(edge, far, arc)[0][0])
    width = between if file.width_mm is None else file.width_mm
    low, high = WIDTH_SHARE
    if not low * width < between < high * width:
        problem = f"does not fit the points, {between:.3g} mm apart"
        remedy = "Check both, and the unit: width_mm is the width when new, in millimetres."
        raise file.settings.fault("width_mm", problem, remedy)
    return width


def blade_of_texts(settings: str, points: str | None, table: str) -> Blade:
    """The blade of the two texts that `edgekit.digitising.writer.blade_texts` gives."""
    with tempfile.TemporaryDirectory() as folder:
        file = FilePath(folder) / "blade.toml"
        file.write_text(settings, encoding="utf-8")
        if points is not None:
            file.with_name(table).write_text(points, encoding="utf-8", newline="")
        return read_blade(file)
