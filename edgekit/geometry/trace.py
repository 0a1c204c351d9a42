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
    width_mm = 0.86                     # only where the points do not give it
    noise_um = 10.0                     # optional, what the digitising is thought to have
    note = "free text"                  # optional

    [pattern]                           # source = "pattern": its name and arguments

The table of points has the columns ``curve, x_mm, y_mm, z_mm``; `curve` is ``left``, ``right``,
``used``, ``unused``, ``edge``, or ``face`` for further points on the face. A table with source
"points" holds exact points and adds ``face_x, face_y, face_z, internal_angle_deg``. Lines that start
with ``#`` are remarks.
"""

from __future__ import annotations

import csv
import io
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from edgekit.checks import FloatArray, at_least, finite, positive, unit_vector
from edgekit.errors import EdgekitError
from edgekit.evidence_table import value
from edgekit.geometry import patterns
from edgekit.geometry import vectors as vec
from edgekit.geometry.blade import Blade, BladeClass, width_between
from edgekit.geometry.curve import Constant, SplineCurve
from edgekit.geometry.edge import Edge, check_angle_deg, check_points
from edgekit.geometry.path import CurvePath
from edgekit.geometry.section import Bevel, RoundBack, Section, Triangular
from edgekit.geometry.smoothing import FaceFit, SmoothedCurve, fit_bowed, fit_plane, smooth_curve

__all__ = ["EdgeTrace", "Trace", "read_blade", "write_blade"]

FORMAT = "edgekit blade 1"
LEAST_TRACE_POINTS = 8  # fewer cannot be told from noise
_EDGE_NAMES = {
    BladeClass.UNIVERSAL: ("left", "right"),
    BladeClass.STRAIGHT_SICKLE: ("left", "right"),
    BladeClass.CURVED_SICKLE: ("left", "right"),
    BladeClass.AREA_SPECIFIC: ("used", "unused"),
    BladeClass.HOE: ("edge",),
}
_AXES = ("x_mm", "y_mm", "z_mm")
_EXACT = ("face_x", "face_y", "face_z", "internal_angle_deg")


@dataclass(frozen=True, kw_only=True, eq=False)
class EdgeTrace:
    """What smoothing made of one digitised edge.

    ``noise_um``: residual standard deviation a coordinate. ``freedom``: effective coefficients.
    ``arc_mm``, ``swing_sd_deg``, ``tilt_sd_deg``, ``normal_sd_deg`` (S,): standard deviation of the
    lateral normal along the edge: turned along the edge (by the tangent), about the edge (by the face and
    the internal angle), and both together.
    """

    noise_um: float
    freedom: float
    arc_mm: FloatArray
    swing_sd_deg: FloatArray
    tilt_sd_deg: FloatArray

    @property
    def normal_sd_deg(self) -> FloatArray:
        """Standard deviation (S,) of the lateral normal's direction."""
        return np.hypot(self.swing_sd_deg, self.tilt_sd_deg)


@dataclass(frozen=True, kw_only=True, eq=False)
class Trace:
    """A digitised blade: what the file said, its points, and what smoothing made of them."""

    settings: Mapping[str, Any]
    points_mm: Mapping[str, FloatArray]
    edges: Mapping[str, EdgeTrace] = field(default_factory=dict)

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{name}</td><td>{edge.noise_um:.1f}</td>"
            f"<td>{edge.swing_sd_deg.mean():.2f}</td><td>{edge.tilt_sd_deg.mean():.2f}</td>"
            f"<td>{edge.normal_sd_deg.max():.2f}</td></tr>"
            for name, edge in self.edges.items()
        )
        head = (
            "<tr><th>edge</th><th>noise, µm</th><th>along the edge, ° (sd)</th>"
            "<th>about the edge, ° (sd)</th><th>worst, ° (sd)</th></tr>"
        )
        return f"<table>{head}{rows}</table>"


# ---- reading -------------------------------------------------------------------------------


def read_blade(path: str | FilePath) -> Blade:
    """Read a blade from its settings file (or from the CSV of the same stem).

    Points of a trace are smoothed by the rule stated in `edgekit.geometry.smoothing`;
    ``blade.trace.edges[name].normal_sd_deg`` reports the uncertainty of the lateral normal.

    Parameters
    ----------
    path : str or Path
        The ``.toml`` file.

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
    file = FilePath(path).with_suffix(".toml")
    settings = _read_settings(file)
    source = _text(file, settings, "source", ("trace", "points", "pattern"))
    if source == "pattern":
        return _from_pattern(file, settings)
    kind = BladeClass(_text(file, settings, "kind", tuple(k.value for k in BladeClass)))
    order = _text(file, settings, "order", ("heel to toe", "toe to heel"))
    table = file.parent / _text(file, settings, "points")
    rows = _read_points(table, kind, exact=source == "points")
    if order == "toe to heel":
        rows = {name: curve[::-1] for name, curve in rows.items()}
    try:
        if source == "points":
            return _from_exact(settings, kind, rows)
        return _from_trace(settings, kind, rows)
    except EdgekitError as error:
        where = table.name if error.what.startswith(("points", "curve", "the ")) else file.name
        raise EdgekitError(f"{where}: {error.what}", error.value, error.remedy) from error


def _decode(file: FilePath) -> str:
    try:
        raw = file.read_bytes()
    except OSError as error:
        raise EdgekitError("the file cannot be read", str(file), "Check the path.") from error
    if not raw.strip():
        raise EdgekitError(f"{file.name} is empty", len(raw), "Give a file with content.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise EdgekitError(
            f"{file.name}, line {line}: not UTF-8 text",
            raw[error.start : error.start + 4],
            "Save the file as UTF-8.",
        ) from error


def _read_settings(file: FilePath) -> dict[str, Any]:
    try:
        settings = tomllib.loads(_decode(file))
    except tomllib.TOMLDecodeError as error:
        raise EdgekitError(
            f"{file.name} is not TOML", str(error), "Mend the line named, or write a new file."
        ) from error
    _text(file, settings, "format", (FORMAT,))
    return settings


def _text(
    file: FilePath, settings: Mapping[str, Any], key: str, allowed: tuple[str, ...] = ()
) -> str:
    item = settings.get(key)
    if not isinstance(item, str) or not item or (allowed and item not in allowed):
        wanted = " or ".join(f'"{a}"' for a in allowed) if allowed else "some text"
        raise EdgekitError(f"{file.name}: {key} must be {wanted}", item, f"Add or mend {key} = ….")
    return item


def _read_points(table: FilePath, kind: BladeClass, *, exact: bool) -> dict[str, FloatArray]:
    """Rows of numbers by curve; every fault is named by file, line and column."""
    lines = _decode(table).splitlines()
    body = [(i + 1, line) for i, line in enumerate(lines) if line.strip() and line[0] != "#"]
    if not body:
        raise EdgekitError(f"{table.name} holds no table", len(lines), "Add a header and points.")
    columns = _AXES + (_EXACT if exact else ())
    header = [name.strip() for name in next(csv.reader([body[0][1]]))]
    missing = [name for name in ("curve", *columns) if name not in header]
    if missing:
        raise EdgekitError(
            f"{table.name}, line {body[0][0]}: missing column {missing[0]}",
            header,
            f"The first line must name {', '.join(('curve', *columns))}, separated by commas.",
        )
    names = (*_EDGE_NAMES[kind], "face")
    found: dict[str, list[list[float]]] = {}
    for number, line in body[1:]:
        cells = [cell.strip() for cell in next(csv.reader([line]))]
        if len(cells) != len(header):
            raise EdgekitError(
                f"{table.name}, line {number}: {len(cells)} cells under {len(header)} columns",
                line,
                "Use a comma between cells and a point in decimals.",
            )
        row = dict(zip(header, cells, strict=True))
        if row["curve"] not in names:
            raise EdgekitError(
                f"{table.name}, line {number}, column curve: must be one of {', '.join(names)}",
                row["curve"],
                "Name the curve the point lies on.",
            )
        found.setdefault(row["curve"], []).append(
            [_number(table, number, column, row[column]) for column in columns]
        )
    return {name: np.array(rows) for name, rows in found.items()}


def _number(table: FilePath, line: int, column: str, cell: str) -> float:
    try:
        number = float(cell)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise EdgekitError(
            f"{table.name}, line {line}, column {column}: not a finite number",
            cell,
            "Correct the cell or remove the line.",
        )
    return number


# ---- blades from what was read -------------------------------------------------------------


def _from_pattern(file: FilePath, settings: Mapping[str, Any]) -> Blade:
    given = dict(settings.get("pattern") or {})
    function = given.pop("pattern", None)
    if function not in patterns.__all__:
        raise EdgekitError(
            f"{file.name}: [pattern] pattern must be one of {', '.join(patterns.__all__)}",
            function,
            "Name the pattern.",
        )
    try:
        return getattr(patterns, function)(**given)  # type: ignore[no-any-return]
    except TypeError as error:
        raise EdgekitError(
            f"{file.name}: [pattern] holds an argument {function} does not take",
            str(error),
            "Remove it.",
        ) from error


def _needed(kind: BladeClass, rows: Mapping[str, FloatArray]) -> tuple[str, ...]:
    names = _EDGE_NAMES[kind]
    for name in names:
        if name not in rows and name != "unused":
            raise EdgekitError(
                f"points of curve {name} are missing", sorted(rows), f"Digitise {name}."
            )
    return tuple(name for name in names if name in rows)


def _from_exact(
    settings: Mapping[str, Any], kind: BladeClass, rows: Mapping[str, FloatArray]
) -> Blade:
    points = {name: rows[name][:, :3] for name in _needed(kind, rows)}
    edges = {
        name: Edge.from_points(
            curve,
            face_normals=rows[name][:, 3:6],
            internal_angle_deg=rows[name][:, 6],
            handle_axis=settings.get("handle_axis", ()),
            inward=_inward(name, points, rows[name][:, 3:6].mean(axis=0)),
        )
        for name, curve in points.items()
    }
    return _assemble(settings, kind, edges, Trace(settings=settings, points_mm=rows))


def _from_trace(
    settings: Mapping[str, Any], kind: BladeClass, rows: Mapping[str, FloatArray]
) -> Blade:
    beta = check_angle_deg("internal_angle_deg", settings.get("internal_angle_deg", math.nan))
    beta_sd = at_least(
        "internal_angle_sd_deg",
        settings.get("internal_angle_sd_deg", value("trace_angle_sd_deg")),
        0.0,
    )
    up = unit_vector("face_up", settings.get("face_up", (0.0, 0.0, 1.0)))
    shape = settings.get("face", "planar")
    if shape not in ("planar", "bowed"):
        raise EdgekitError('face must be "planar" or "bowed"', shape, "Say which the face is.")
    axis = unit_vector("handle_axis", settings.get("handle_axis", ()))
    names = _needed(kind, rows)
    for name in names:
        check_points(f"points of curve {name}", rows[name], LEAST_TRACE_POINTS)
    face = (fit_plane if shape == "planar" else fit_bowed)(np.concatenate(list(rows.values())), up)
    edges, reports = {}, {}
    for name in names:
        smooth = smooth_curve(rows[name])
        path = _path_on(face, smooth)
        middle = path.at(np.array(path.length_mm / 2))
        across = vec.cross(middle.face.value, middle.tangent.value)
        inward = _inward(name, rows, up)
        edges[name] = Edge(
            path=path,
            internal_angle=Constant(value=np.radians(np.asarray(beta))),
            handle_axis=axis,
            side=1 if across @ inward > 0 else -1,
            roll_reference=middle.tangent.value,
        )
        reports[name] = _uncertainty(smooth, face, path, beta, beta_sd)
    trace = Trace(settings=settings, points_mm=rows, edges=reports)
    return _assemble(settings, kind, edges, trace)


def _path_on(face: FaceFit, smooth: SmoothedCurve) -> CurvePath:
    u = np.linspace(*smooth.curve.domain, 6 * len(smooth.parameter))
    normals = SplineCurve.through(u, face.normals(smooth.curve.derivatives(u, 0)[0]))
    return CurvePath(curve=smooth.curve, normals=normals, panels=max(256, 2 * len(u)))


def _uncertainty(
    smooth: SmoothedCurve, face: FaceFit, path: CurvePath, beta_deg: float, beta_sd_deg: float
) -> EdgeTrace:
    u = np.linspace(*smooth.curve.domain, 101)
    point, along = smooth.curve.derivatives(u, 1)
    swing = np.sin(np.radians(beta_deg)) * np.degrees(smooth.direction_sd_rad(u))
    tilt = np.degrees(face.tilt_sd_rad(point, vec.unit(along)))
    return EdgeTrace(
        noise_um=smooth.noise_um,
        freedom=smooth.freedom,
        arc_mm=path.arc_of(u),
        swing_sd_deg=swing,
        tilt_sd_deg=np.hypot(tilt, beta_sd_deg),
    )


def _inward(name: str, rows: Mapping[str, FloatArray], up: FloatArray) -> FloatArray:
    """A vector at mid-edge into the steel: towards the other edge, or away from the bulge."""
    here = rows[name][:, :3]
    middle = here[len(here) // 2]
    other = [curve[:, :3] for key, curve in rows.items() if key not in (name, "face")]
    target = other or [rows[key][:, :3] for key in rows if key == "face"]
    if target:
        cloud = np.concatenate(target)
        return np.asarray(cloud[np.argmin(np.linalg.norm(cloud - middle, axis=1))] - middle)
    tangent = here[-1] - here[0]
    bulge = middle - (here[0] + here[-1]) / 2
    across = vec.cross(np.asarray(up), tangent)
    return -across if across @ bulge > 0 else across


def _assemble(
    settings: Mapping[str, Any], kind: BladeClass, edges: Mapping[str, Edge], trace: Trace
) -> Blade:
    unused = edges.get("unused")
    ground = {name: edge for name, edge in edges.items() if name != "unused"}
    first = next(iter(ground.values()))
    far = unused if unused is not None else list(ground.values())[1:2]
    width = settings.get("width_mm")
    if far:
        other = far if isinstance(far, Edge) else far[0]
        arc = np.array([first.length_mm / 2])
        if kind in (BladeClass.STRAIGHT_SICKLE, BladeClass.CURVED_SICKLE):
            arc = np.array([first.length_mm * 0.02])
        width = float(width_between(first, other, arc)[0][0])
    if width is None:
        raise EdgekitError(
            "width_mm is missing and only one edge was digitised",
            sorted(edges),
            "Digitise the other edge or give width_mm.",
        )
    return Blade(
        name=str(settings.get("name", "")),
        kind=kind,
        edges=ground,
        unused=unused,
        section=_section(kind, width, settings, first.nominal_angle_deg),
        trace=trace,
    )


def _section(
    kind: BladeClass, width: float, settings: Mapping[str, Any], beta_deg: float
) -> Section:
    if kind in (BladeClass.STRAIGHT_SICKLE, BladeClass.CURVED_SICKLE):
        return Triangular(width_mm=width, internal_angle_deg=beta_deg)
    thickness = positive(
        "thickness_mm", settings.get("thickness_mm", math.nan), "Give thickness_mm in the file."
    )
    form = Bevel if kind is BladeClass.HOE else RoundBack
    return form(width_mm=width, thickness_mm=thickness, internal_angle_deg=beta_deg)


# ---- writing -------------------------------------------------------------------------------

WRITTEN_POINTS = 200  # of an edge that came from neither a pattern nor a file


def write_blade(blade: Blade, path: str | FilePath) -> FilePath:
    """Write a blade so that `read_blade` gives it back.

    A pattern is written as its name and arguments, a blade read from a file as it was read, any other as
    200 exact points an edge.

    Parameters
    ----------
    blade : Blade
    path : str or Path
        The ``.toml`` file; points go beside it into a ``.csv`` of the same stem.

    Returns
    -------
    Path
        The ``.toml`` file written.

    Examples
    --------
    >>> import edgekit as ek, tempfile, pathlib
    >>> blade = ek.patterns.hoe().moved([[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     again = ek.read_blade(ek.write_blade(blade, pathlib.Path(folder) / "hoe.toml"))
    >>> round(again.edges["edge"].length_mm, 6)
    1.5
    """
    file = FilePath(path).with_suffix(".toml")
    table = file.with_suffix(".csv")
    if blade.pattern is not None:
        settings: dict[str, Any] = {"format": FORMAT, "source": "pattern"}
        file.write_text(_toml(settings, dict(blade.pattern)), encoding="utf-8")
        return file
    trace = blade.trace or _exact_trace(blade)
    settings = {**trace.settings, "points": table.name, "order": "heel to toe"}
    exact = settings["source"] == "points"
    columns = ("curve", *_AXES, *(_EXACT if exact else ()))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for name, rows in trace.points_mm.items():
        writer.writerows([name, *(repr(float(item)) for item in row)] for row in rows)
    table.write_text(out.getvalue(), encoding="utf-8")
    file.write_text(_toml(settings), encoding="utf-8")
    return file


def _exact_trace(blade: Blade) -> Trace:
    edges = dict(blade.edges) | ({"unused": blade.unused} if blade.unused is not None else {})
    rows = {}
    for name, edge in edges.items():
        frame = edge.frame(edge.stations(WRITTEN_POINTS))
        angle = np.degrees(frame.angle.value) + np.zeros(WRITTEN_POINTS)
        rows[name] = np.column_stack([frame.position, frame.face.value, angle])
    axis = next(iter(edges.values())).handle_axis
    settings = {
        "format": FORMAT,
        "name": blade.name,
        "kind": blade.kind.value,
        "source": "points",
        "handle_axis": [float(item) for item in axis],
        "thickness_mm": blade.thickness_mm,
        "width_mm": blade.section.width_mm,
    }
    return Trace(settings=settings, points_mm=rows)


def _toml(settings: Mapping[str, Any], pattern: Mapping[str, Any] | None = None) -> str:
    """The few kinds of value the format has, as TOML."""
    lines = [f"{key} = {_toml_value(item)}" for key, item in settings.items()]
    if pattern is not None:
        lines += ["", "[pattern]", *(f"{k} = {_toml_value(v)}" for k, v in pattern.items())]
    return "\n".join(lines) + "\n"


def _toml_value(item: object) -> str:
    if isinstance(item, str):
        body = item.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in body) + '"'
    if isinstance(item, list | tuple):
        return "[" + ", ".join(_toml_value(part) for part in item) + "]"
    if isinstance(item, bool):
        return str(item).lower()
    number = finite("a setting", item) if item != math.inf else math.inf  # type: ignore[arg-type]
    return repr(number)
