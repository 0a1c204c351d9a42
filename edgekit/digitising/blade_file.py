"""What the files of a digitised blade say, checked; faults name file, line and column."""

from __future__ import annotations

import csv
import enum
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import fields
from functools import partial
from pathlib import Path as FilePath

import numpy as np

from edgekit.checks import FloatArray, at_least, positive, vectors
from edgekit.digitising.file_format import AXES, EXACT, Settings, file_text, line_fault
from edgekit.errors import BadFile, EdgekitError
from edgekit.evidence_table import value
from edgekit.files import beside
from edgekit.geometry.blade import BladeClass, check_taper
from edgekit.geometry.edge import check_angle_deg, check_points
from edgekit.record import Record
from edgekit.units import UM_PER_MM

MIN_TRACE_POINTS = 8  # fewer cannot be told from noise
MAX_TRACE_POINTS = 1000  # of a curve: every 6 µm; smoothing takes a second for them
MAX_POINTS = 20_000  # of a table
BLUR = 10.0  # times the noise: between clicks this close the direction is chance
BOTH = ("left", "right")  # edges of all classes but these
CURVES = {BladeClass.AREA_SPECIFIC: ("used", "unused"), BladeClass.HOE: ("edge",)}
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


class Source(enum.Enum):
    """What a blade is made from."""

    TRACE = "trace"
    POINTS = "points"
    PATTERN = "pattern"


class Order(enum.Enum):
    """Which way the points of every curve run."""

    FROM_HEEL = "heel to toe"
    FROM_TOE = "toe to heel"


class Face(enum.Enum):
    """The shape of the face."""

    PLANAR = "planar"
    BOWED = "bowed"


class BladeFile(Record):
    """The settings of a digitised blade: a field for each key, checked, or its default.

    The width is None where only the points show it, thickness and internal angle where the section
    or exact points give them.
    """

    name: str
    note: str
    kind: BladeClass
    source: Source
    points: FilePath
    order: Order
    face: Face
    face_up: FloatArray
    handle_axis: FloatArray
    internal_angle_deg: float | None
    internal_angle_sd_deg: float
    thickness_mm: float | None
    thickness_taper: float
    width_mm: float | None
    noise_um: float
    pose_sd_deg: float
    end_sd_mm: float
    settings: Settings

    @classmethod
    def of(cls, settings: Settings) -> BladeFile:
        """The settings, checked."""
        number, angle_sd = settings.number, value("trace_angle_sd_deg")
        zero_or_more = partial(at_least, low=0.0)
        kind, source = settings.choice("kind", BladeClass), settings.choice("source", Source)
        traced, stated = source is Source.TRACE, "width_mm" in settings.items
        return cls(
            name=settings.text("name", otherwise=""),
            note=settings.text("note", otherwise=""),
            kind=kind,
            source=source,
            points=_points_file(settings),
            order=settings.choice("order", Order),
            face=settings.choice("face", Face, Face.PLANAR),
            face_up=settings.vector("face_up", (0.0, 0.0, 1.0)),
            handle_axis=settings.vector("handle_axis"),
            internal_angle_deg=number("internal_angle_deg", check_angle_deg) if traced else None,
            internal_angle_sd_deg=number("internal_angle_sd_deg", zero_or_more, angle_sd),
            thickness_mm=None if kind.tapers else number("thickness_mm"),
            thickness_taper=number("thickness_taper", check_taper, 0.0),
            width_mm=number("width_mm") if stated else None,
            noise_um=number("noise_um", positive, value("trace_noise_um")),
            pose_sd_deg=number("pose_sd_deg", zero_or_more, 0.0),
            end_sd_mm=number("end_sd_mm", zero_or_more, 0.0),
            settings=settings,
        )

    def curves(self) -> dict[str, FloatArray]:
        """Points (N, 3), or exact points (N, 7), of each curve from heel to toe, checked."""
        columns = AXES + (EXACT if self.source is Source.POINTS else ())
        edges = CURVES.get(self.kind, BOTH)
        tables = _read_table(self.points, (*edges, "face"), columns)
        if self.order is Order.FROM_TOE:
            tables = {name: rows[::-1] for name, rows in tables.items()}
        for name in edges:
            label = f"{self.points.name}: points of curve {name}"
            if name in tables:
                self._check(label, tables[name])
            elif name != "unused":
                raise BadFile(
                    f"{label} are missing",
                    sorted(tables),
                    f"Digitise {name}.",
                    file=self.points.name,
                )
        return {name: np.ascontiguousarray(rows[:, 1:]) for name, rows in tables.items()}

    def edges_of(self, curves: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """Those of the curves that are edges, in the order of the class of blade."""
        return {name: curves[name] for name in CURVES.get(self.kind, BOTH) if name in curves}

    def _check(self, label: str, rows: FloatArray) -> None:
        lines, points = rows[:, 0].astype(int).tolist(), rows[:, 1:4]
        if self.source is Source.TRACE:
            if len(lines) > MAX_TRACE_POINTS:
                remedy = "Keep every second or tenth point: the smooth curve will be the same."
                what = f"{label} are more than {MAX_TRACE_POINTS:,}"
                raise BadFile(what, len(lines), remedy, file=self.points.name)
            blur = BLUR * self.noise_um / UM_PER_MM
            check_points(label, points, MIN_TRACE_POINTS, blur_mm=blur, lines=lines)
            return
        check_points(label, points, lines=lines)
        for line, row in zip(lines, rows, strict=True):
            place = f"{self.points.name}, line {line}, column"
            check_angle_deg(f"{place} internal_angle_deg", row[7])
            vectors(f"{place}s face_x, face_y, face_z", row[None, 4:7])


def _points_file(settings: Settings) -> FilePath:
    """The table of points that the settings name, which lies in their folder."""
    name = settings.text("points")
    try:
        return beside(settings.file, name)
    except EdgekitError as error:
        raise settings.fault("points", "is no file in the same folder", error.remedy) from error


KEYS = ("format", "pattern", *(f.name for f in fields(BladeFile) if f.name != "settings"))


def _read_table(
    table: FilePath, names: Sequence[str], columns: Sequence[str]
) -> dict[str, FloatArray]:
    """Read a table by curve, of the curves `names`: its line and the numbers under `columns`."""
    text = file_text(table).split("\n")
    body = [(i, line) for i, line in enumerate(text, 1) if line.strip() and line.lstrip()[0] != "#"]
    if not body:
        raise BadFile(
            f"{table.name} holds no table", len(text), "Add a header and points.", file=table.name
        )
    if len(body) > MAX_POINTS:
        raise BadFile(
            f"{table.name} has more than {MAX_POINTS:,} points",
            len(body),
            "Keep every tenth, or fewer.",
            file=table.name,
        )
    header = _cells(table, *body[0])
    wanted = ("curve", *columns)
    for name in wanted:
        if header.count(name) != 1:
            problem = f": {'repeated' if name in header else 'missing'} column {name}"
            remedy = f"The first line must name {', '.join(wanted)}, once each, with commas."
            raise line_fault(table, body[0][0], problem, header, remedy)
    curves: dict[str, list[list[float]]] = {}
    for number, line in body[1:]:
        cells = _cells(table, number, line)
        if len(cells) != len(header):
            problem = f": {len(cells)} cells under {len(header)} columns"
            remedy = "Put a comma between cells, and use a decimal point."
            raise line_fault(table, number, problem, line, remedy)
        row = dict(zip(header, cells, strict=True))
        if row["curve"] not in names:
            problem = f", column curve: must be one of {', '.join(names)}"
            remedy = "Name the curve the point lies on."
            raise line_fault(table, number, problem, row["curve"], remedy, "curve")
        numbers = [_number(table, number, column, row[column]) for column in columns]
        curves.setdefault(row["curve"], []).append([number, *numbers])
    return {name: np.array(rows) for name, rows in curves.items()}


def _cells(table: FilePath, number: int, line: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], strict=True))]
    except csv.Error as error:  # a quotation mark left open, a cell beyond all bounds
        remedy = "Correct or remove the line."
        raise line_fault(table, number, f": not CSV ({error})", line, remedy) from error


def _number(table: FilePath, line: int, column: str, cell: str) -> float:
    number = float(cell) if _NUMBER.fullmatch(cell) else math.nan
    if not math.isfinite(number):
        remedy = "Correct the cell, with a decimal point, or remove the line."
        raise line_fault(
            table, line, f", column {column}: not a finite number", cell, remedy, column
        )
    return number
