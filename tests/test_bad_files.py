"""Spoiled blade files: each raises `EdgekitError` that names the file, and the place in it."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import edgekit as ek


def settings(**changes: str | None) -> str:
    """A sound settings file of a trace, with lines replaced, or removed where None."""
    items: dict[str, str | None] = {
        "format": '"edgekit blade 1"',
        "name": '"bad"',
        "kind": '"universal curette"',
        "source": '"trace"',
        "points": '"bad.csv"',
        "order": '"heel to toe"',
        "handle_axis": "[0.0, 0.0, -1.0]",
        "internal_angle_deg": "75.0",
        "thickness_mm": "0.71",
    }
    items |= changes
    return "\n".join(f"{key} = {item}" for key, item in items.items() if item is not None) + "\n"


LEFT, RIGHT = range(2, 42), range(42, 82)  # lines of the edges in the sound table; line 1: header


def table(change: Callable[[list[str]], None] = lambda _: None) -> str:
    """A sound table of two edges of 40 points, changed line by line; lines[0] is the header."""
    blade = ek.patterns.universal_curette()
    lines = ["curve,x_mm,y_mm,z_mm"]
    for name, edge in blade.edges.items():
        points = edge.frame(edge.stations(40)).position
        lines += [",".join([name, *(f"{item:.4f}" for item in row)]) for row in points]
    change(lines)
    return "\n".join(lines) + "\n"


def put(line: int, text: str) -> str:
    """The table with one line (from 1) replaced."""

    def change(lines: list[str]) -> None:
        lines[line - 1] = text

    return table(change)


def cell(line: int, column: int, text: str) -> str:
    """The table with one cell replaced."""

    def change(lines: list[str]) -> None:
        cells = lines[line - 1].split(",")
        cells[column] = text
        lines[line - 1] = ",".join(cells)

    return table(change)


def swap(first: int, second: int) -> str:
    """The table with two lines exchanged."""

    def change(lines: list[str]) -> None:
        lines[first - 1], lines[second - 1] = lines[second - 1], lines[first - 1]

    return table(change)


def keep(*kept: int) -> str:
    """The table with only these lines."""

    def change(lines: list[str]) -> None:
        lines[:] = [lines[number - 1] for number in kept]

    return table(change)


def scaled(factor: float) -> str:
    """The table in another unit."""

    def change(lines: list[str]) -> None:
        for i, line in enumerate(lines[1:], 1):
            name, *cells = line.split(",")
            lines[i] = ",".join([name, *(repr(float(item) * factor) for item in cells)])

    return table(change)


def crossing() -> str:
    """The table with the right edge slanted over the left one at the heel."""

    def change(lines: list[str]) -> None:
        for i in RIGHT:
            name, x, y, z = lines[i - 1].split(",")
            lines[i - 1] = f"{name},{x},{float(y) - 0.45 * float(x):.4f},{z}"

    return table(change)


def bow() -> str:
    """The table on a face bowed to a radius of 12 mm."""

    def change(lines: list[str]) -> None:
        for i, line in enumerate(lines[1:], 1):
            name, x, y, _ = line.split(",")
            lines[i] = f"{name},{x},{y},{float(x) ** 2 / 24:.4f}"

    return table(change)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Case:
    """A spoiled pair of files, and what the message must say (a pattern)."""

    name: str
    says: str
    settings: str | bytes = dataclasses.field(default_factory=settings)
    table: str | bytes | None = dataclasses.field(default_factory=table)


def exact(line: str) -> tuple[str, str]:
    """Files of exact points of a hoe whose line 4 is as given."""
    rows = [f"edge,{x},0.0,0.0,0.0,0.0,1.0,45.0" for x in np.linspace(0, 1.5, 8)]
    rows.insert(2, line)
    head = "curve,x_mm,y_mm,z_mm,face_x,face_y,face_z,internal_angle_deg"
    return (
        settings(source='"points"', kind='"hoe"', width_mm="2.0", thickness_mm="0.6"),
        "\n".join([head, *rows]) + "\n",
    )


def exact_case(name: str, line: str, says: str) -> Case:
    """A case of exact points."""
    text, points = exact(line)
    return Case(name=name, settings=text, table=points, says=says)


def pattern_case(name: str, body: str, says: str) -> Case:
    """A case of a pattern."""
    text = f'format = "edgekit blade 1"\nsource = "pattern"\n{body}\n'
    return Case(name=name, settings=text, table=None, says=says)


def key_case(key: str, item: str | None, says: str, *, name: str = "") -> Case:
    """A case of one spoiled setting."""
    label = name or f"{key} = {item if item is None or len(item) < 30 else item[:30]}"
    return Case(name=label, settings=settings(**{key: item}), says=says)


CASES = (
    # ---- whole files
    Case(name="empty settings", settings="", says=r"bad\.toml is empty"),
    Case(name="blank settings", settings=" \n\n", says=r"bad\.toml is empty"),
    Case(name="empty table", table="", says=r"bad\.csv is empty"),
    Case(name="no table", table=None, says=r"bad\.csv cannot be read"),
    Case(name="remarks only", table="# nothing\n# here\n", says=r"bad\.csv holds no table"),
    Case(name="header only", table="curve,x_mm,y_mm,z_mm\n", says=r"bad\.csv: .*left are missing"),
    Case(
        name="Latin-1 settings",
        settings=settings(note='"Schärfe"').encode("latin-1"),
        says=r"bad\.toml, line 10: not UTF-8",
    ),
    Case(
        name="Latin-1 table",
        table=("# Größe\n" + table()).encode("latin-1"),
        says=r"bad\.csv, line 1: not UTF-8",
    ),
    Case(
        name="UTF-16 settings",
        settings=settings().encode("utf-16"),
        says=r"bad\.toml, line 1: not UTF-8",
    ),
    Case(name="UTF-16 table", table=table().encode("utf-16"), says=r"bad\.csv, line 1: not UTF-8"),
    Case(
        name="UTF-16 table without a mark",
        table=table().encode("utf-16-le"),
        says=r"bad\.csv, line 1: holds a null character",
    ),
    Case(name="a binary file", table=bytes(range(256)) * 8, says=r"bad\.csv, line 2: not UTF-8"),
    # ---- settings
    Case(
        name="TOML syntax",
        settings=settings() + "width_mm 0.86\n",
        says=r"bad\.toml, line 10, column \d+: not TOML",
    ),
    Case(
        name="unquoted text",
        settings=settings(name="bad"),
        says=r"bad\.toml, line 2, column \d+: not TOML",
    ),
    Case(
        name="key twice",
        settings=settings() + "thickness_mm = 0.7\n",
        says=r"bad\.toml, line 10, column \d+: not TOML",
    ),
    Case(
        name="decimal comma in settings",
        settings=settings(thickness_mm="0,71"),
        says=r"bad\.toml, line 9, column \d+: not TOML",
    ),
    Case(name="endless brackets", settings=settings(note="[" * 5000), says=r"bad\.toml.*not TOML"),
    Case(
        name="endless digits",
        settings=settings(thickness_mm="1" * 5000),
        says=r"bad\.toml.*(not TOML|must be)",
    ),
    key_case("format", None, r"bad\.toml: format is missing"),
    key_case("format", '"edgekit blade 9"', r"bad\.toml, line 1: format must be"),
    key_case("source", '"magic"', r"bad\.toml, line 4: source must be"),
    key_case("source", "1", r"bad\.toml, line 4: source must be"),
    key_case("kind", '"spoon"', r"bad\.toml, line 3: kind must be"),
    key_case("kind", '["hoe"]', r"bad\.toml, line 3: kind must be"),
    key_case("kind", None, r"bad\.toml: kind is missing"),
    key_case("order", '"upwards"', r"bad\.toml, line 6: order must be"),
    key_case("order", "true", r"bad\.toml, line 6: order must be"),
    key_case("points", None, r"bad\.toml: points is missing"),
    key_case("points", "3", r"bad\.toml, line 5: points must be"),
    key_case("points", r'"a\u0000b.csv"', r"no file in the same folder", name="null in a name"),
    key_case("name", "5", r"bad\.toml, line 2: name must be some text"),
    key_case("note", "2026-03-01", r"bad\.toml, line 10: note must be some text"),
    key_case("handle_axis", '"down"', r"bad\.toml, line 7: handle_axis must be three numbers"),
    key_case("handle_axis", '["0", "0", "-1"]', r"line 7: handle_axis must be three numbers"),
    key_case("handle_axis", "[true, false, false]", r"line 7: handle_axis must be three numbers"),
    key_case("handle_axis", "[0.0, 1.0]", r"line 7: handle_axis must be three numbers"),
    key_case("handle_axis", "[0, 0, 0]", r"line 7: handle_axis has a null vector"),
    key_case("handle_axis", "[nan, 0, 1]", r"line 7: handle_axis must be finite"),
    key_case("handle_axis", "1.0", r"line 7: handle_axis must be three numbers"),
    key_case("handle_axis", "{x = 1}", r"line 7: handle_axis must be three numbers"),
    key_case("handle_axis", None, r"bad\.toml: handle_axis is missing"),
    key_case("face_up", '"up"', r"line 10: face_up must be three numbers"),
    key_case("face_up", "[1.0, 0.0, 0.0]", r"bad\.toml, line 10: face_up lies along the face"),
    key_case("face", '"hollow"', r"bad\.toml, line 10: face must be"),
    key_case("internal_angle_deg", "1.309", r"line 8: internal_angle_deg .*radians.*75\.0"),
    key_case("internal_angle_deg", "0", r"line 8: internal_angle_deg must lie between"),
    key_case("internal_angle_deg", "180.0", r"line 8: internal_angle_deg must lie between"),
    key_case("internal_angle_deg", "nan", r"line 8: internal_angle_deg must be finite"),
    key_case("internal_angle_deg", '"75"', r"line 8: internal_angle_deg must be a number"),
    key_case("internal_angle_deg", "true", r"line 8: internal_angle_deg must be a number"),
    key_case("internal_angle_deg", "[75.0]", r"line 8: internal_angle_deg must be a number"),
    key_case("internal_angle_deg", None, r"bad\.toml: internal_angle_deg is missing"),
    key_case("internal_angle_deg", "1" + "0" * 400, r"line 8: internal_angle_deg must be"),
    key_case("internal_angle_sd_deg", "-1", r"line 10: internal_angle_sd_deg must be 0 or more"),
    key_case("internal_angle_sd_deg", '"1"', r"line 10: internal_angle_sd_deg must be a number"),
    key_case("noise_um", "0", r"line 10: noise_um must be above 0"),
    key_case("noise_um", '"ten"', r"line 10: noise_um must be a number"),
    key_case("thickness_mm", '"0.7"', r"bad\.toml, line 9: thickness_mm must be a number"),
    key_case("thickness_mm", "0.00071", r"bad\.toml: thickness_mm must lie between"),
    key_case("thickness_mm", "-0.7", r"bad\.toml: thickness_mm must"),
    key_case("thickness_mm", "inf", r"bad\.toml, line 9: thickness_mm must be finite"),
    key_case("thickness_mm", None, r"bad\.toml: thickness_mm is missing"),
    key_case("width_mm", "0.00086", r"bad\.toml, line 10: width_mm does not fit the points"),
    key_case("width_mm", "1979-05-27", r"bad\.toml, line 10: width_mm must be a number"),
    key_case(
        "thicknes_mm", "0.7", r"line 10: thicknes_mm is an unknown key.*Did you mean thickness_mm"
    ),
    # ---- table
    Case(
        name="no header", table=keep(*LEFT, *RIGHT), says=r"bad\.csv, line 1: missing column curve"
    ),
    Case(
        name="missing column",
        table=put(1, "curve,x_mm,y_mm"),
        says=r"bad\.csv, line 1: missing column z_mm",
    ),
    Case(
        name="column twice",
        table=put(1, "curve,x_mm,x_mm,y_mm,z_mm"),
        says=r"bad\.csv, line 1: repeated column x_mm",
    ),
    Case(
        name="semicolons",
        table=table().replace(",", ";"),
        says=r"bad\.csv, line 1: missing column curve",
    ),
    Case(
        name="decimal comma",
        table=put(7, "left,-1,8,0,4,0,0"),
        says=r"bad\.csv, line 7: 7 cells under 4 columns",
    ),
    Case(
        name="quoted decimal comma",
        table=put(7, 'left,"-1,8",0.4,0.0'),
        says=r"bad\.csv, line 7, column x_mm: not a finite number, got '-1,8'",
    ),
    Case(name="NaN", table=cell(9, 1, "nan"), says=r"bad\.csv, line 9, column x_mm: not a finite"),
    Case(
        name="inf", table=cell(12, 2, "inf"), says=r"bad\.csv, line 12, column y_mm: not a finite"
    ),
    Case(
        name="beyond doubles",
        table=cell(12, 2, "1e999"),
        says=r"bad\.csv, line 12, column y_mm: not a finite",
    ),
    Case(
        name="text cell",
        table=cell(81, 3, "level"),
        says=r"bad\.csv, line 81, column z_mm: not a finite number, got 'level'",
    ),
    Case(
        name="empty cell", table=cell(5, 2, ""), says=r"bad\.csv, line 5, column y_mm: not a finite"
    ),
    Case(
        name="digits with an underscore",
        table=cell(5, 2, "0_4"),
        says=r"bad\.csv, line 5, column y_mm: not a finite",
    ),
    Case(
        name="extra cell",
        table=put(3, "left,-2.5,0.4,0.0,7"),
        says=r"bad\.csv, line 3: 5 cells under 4 columns",
    ),
    Case(
        name="quotation mark left open",
        table=put(3, 'left,"-2.5,0.4,0.0'),
        says=r"bad\.csv, line 3: not CSV",
    ),
    Case(
        name="huge line",
        table=put(3, "left," + "9" * 200_000 + ",0.4,0.0"),
        says=r"bad\.csv, line 3: not CSV",
    ),
    Case(
        name="unknown curve",
        table=cell(50, 0, "upper"),
        says=r"bad\.csv, line 50, column curve: must be one of left, right, face, got 'upper'",
    ),
    Case(
        name="curve of another class",
        table=cell(50, 0, "used"),
        says=r"bad\.csv, line 50, column curve: must be one of",
    ),
    Case(
        name="line numbers count remarks",
        table="# one\n\n" + cell(9, 1, "x"),
        says=r"bad\.csv, line 11, column x_mm",
    ),
    Case(
        name="missing edge",
        table=keep(1, *LEFT),
        says=r"bad\.csv: points of curve right are missing",
    ),
    Case(
        name="three points",
        table=keep(1, *RIGHT, 2, 20, 41),
        says=r"bad\.csv: points of curve left must hold 8 points or more, got 3",
    ),
    Case(
        name="a point twice",
        table=put(12, table().splitlines()[10]),
        says=r"bad\.csv: points of curve left repeats a point in lines 11 and 12",
    ),
    Case(
        name="points out of order",
        table=swap(8, 30),
        says=r"bad\.csv: points of curve left turns back on itself at line \d+",
    ),
    Case(
        name="one point far off",
        table=cell(60, 1, "9.0"),
        says=r"bad\.csv: points of curve right turns back on itself at line 60",
    ),
    Case(
        name="order counted from the toe",
        settings=settings(order='"toe to heel"'),
        table=cell(60, 1, "9.0"),
        says=r"bad\.csv: points of curve right .* at line 60",
    ),
    Case(
        name="metres",
        table=scaled(0.001),
        says=r"bad\.csv: .*curve left: its length in mm must.*millimetres",
    ),
    Case(
        name="micrometres",
        table=scaled(1000),
        says=r"bad\.csv: .*left: its length in mm must.*millimetres",
    ),
    Case(name="crossing edges", table=crossing(), says=r"bad\.csv: the two edges cross or touch"),
    Case(
        name="a face not fixed",
        settings=settings(kind='"hoe"', width_mm="2.0"),
        table="curve,x_mm,y_mm,z_mm\n" + "".join(f"edge,{i / 10},0.0,0.0\n" for i in range(16)),
        says=r"bad\.csv: the points do not fix the face",
    ),
    Case(
        name="a bowed face called planar", table=bow(), says=r"bad\.csv: .*off a planar face.*bowed"
    ),
    Case(
        name="one edge and no width",
        settings=settings(kind='"area-specific curette"'),
        table=keep(1, *LEFT).replace("left", "used")
        + "".join(f"face,{x / 10},{y / 10},0.0\n" for x in range(-9, 9) for y in (0, 1)),
        says=r"bad\.toml: width_mm is missing",
    ),
    # ---- exact points
    exact_case(
        "angle 0 in a row",
        "edge,0.3,0,0,0,0,1,0",
        r"bad\.csv, line 4, column internal_angle_deg must lie between",
    ),
    exact_case(
        "angle in radians in a row",
        "edge,0.3,0,0,0,0,1,0.785",
        r"bad\.csv, line 4, column internal_angle_deg .*radians",
    ),
    exact_case(
        "null normal in a row",
        "edge,0.3,0,0,0,0,0,45",
        r"bad\.csv, line 4, columns face_x, face_y, face_z has a null vector",
    ),
    exact_case(
        "normal along the edge", "edge,0.3,0,0,1,0,0,45", r"bad\.csv: face_normals turn over"
    ),
    exact_case(
        "exact point twice",
        "edge,0.21428571428571427,0,0,0,0,1,45",
        r"bad\.csv: points of curve edge repeats a point in lines 3 and 4",
    ),
    # ---- patterns
    pattern_case("no pattern", "", r"bad\.toml: pattern must be a table"),
    pattern_case(
        "pattern as text", 'pattern = "hoe"', r"bad\.toml, line 3: pattern must be a table"
    ),
    pattern_case(
        "unknown pattern", '[pattern]\npattern = "spoon"', r"bad\.toml, line 3: pattern must be"
    ),
    pattern_case(
        "private name", '[pattern]\npattern = "_sickle"', r"bad\.toml, line 3: pattern must be"
    ),
    pattern_case(
        "no such argument",
        '[pattern]\npattern = "hoe"\nplan_radius_mm = 3.0',
        r"bad\.toml, line 5: plan_radius_mm is an unknown key",
    ),
    pattern_case(
        "argument as text",
        '[pattern]\npattern = "hoe"\nwidth_mm = "2"',
        r"bad\.toml, line 5: width_mm must be a number",
    ),
    pattern_case(
        "argument as list",
        '[pattern]\npattern = "hoe"\nwidth_mm = [2.0]',
        r"bad\.toml, line 5: width_mm must be a number",
    ),
    pattern_case(
        "pattern name as number",
        '[pattern]\npattern = "hoe"\nname = 3',
        r"bad\.toml, line 5: name must be some text",
    ),
    pattern_case(
        "argument out of range",
        '[pattern]\npattern = "hoe"\ninternal_angle_deg = 0.78',
        r"bad\.toml: internal_angle_deg .*radians",
    ),
    pattern_case(
        "width in metres",
        '[pattern]\npattern = "universal_curette"\nwidth_mm = 0.00086',
        r"bad\.toml: ",
    ),
)


def write(folder: Path, name: str, content: str | bytes) -> None:
    """Write a file as it is, with its line ends left alone."""
    (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)


def test_the_table_of_spoiled_files_is_long_enough_and_its_base_is_sound(tmp_path: Path) -> None:
    assert len(CASES) >= 40
    assert len({case.name for case in CASES}) == len(CASES)
    write(tmp_path, "bad.toml", settings())
    write(tmp_path, "bad.csv", table())
    assert set(ek.read_blade(tmp_path / "bad.toml").edges) == {"left", "right"}
    text, points = exact("edge,0.3,0,0,0,0,1,45")
    write(tmp_path, "bad.toml", text)
    write(tmp_path, "bad.csv", points)
    assert ek.read_blade(tmp_path / "bad.toml").internal_angle_deg == pytest.approx(45)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name.replace(" ", "_"))
def test_a_spoiled_file_is_refused_with_its_place(case: Case, tmp_path: Path) -> None:
    write(tmp_path, "bad.toml", case.settings)
    if case.table is not None:
        write(tmp_path, "bad.csv", case.table)
    with pytest.raises(ek.EdgekitError) as caught:
        ek.read_blade(tmp_path / "bad.toml")
    assert re.search(case.says, str(caught.value)), str(caught.value)
    assert caught.value.remedy


@pytest.mark.parametrize("path", ["", ".", "no/such/folder/x.toml", "a\0b", 3, None])
def test_a_path_that_names_no_file_is_refused(path: object) -> None:
    with pytest.raises(ek.EdgekitError):
        ek.read_blade(path)  # type: ignore[arg-type]


def test_a_folder_instead_of_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "blade.toml").mkdir()
    for path in (tmp_path, tmp_path / "blade.toml"):
        with pytest.raises(ek.EdgekitError, match=r"\.toml cannot be read"):
            ek.read_blade(path)


def test_a_blade_cannot_be_written_into_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ek.EdgekitError, match=r"hoe\.toml cannot be written"):
        ek.write_blade(ek.patterns.hoe(), tmp_path / "none" / "hoe.toml")
