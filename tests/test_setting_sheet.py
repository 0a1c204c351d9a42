"""The setting sheet read back by an HTML parser; paper and browser are `test_sheet_browser.py`.

Sources: `html.parser` of the standard library as an independent reader; the drawings, hours and
the dial against the geometry they are computed from, by rotating the blade as a hand would.
"""

import dataclasses
import html.parser
import re
import time
from itertools import pairwise

import numpy as np
import pytest

import edgekit as ek
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.log.entry import entry_code
from edgekit.clinic.sheet.content import compose, riser_words, setting_words
from edgekit.clinic.sheet.drawing import DIAL_MM, Ink, at_the_stone, clock, dial, svg, toe_hours
from edgekit.clinic.sheet.page import page
from edgekit.contact.orientation import handle_basis
from edgekit.errors import EdgekitError
from edgekit.evidence_table import Status, entry
from edgekit.safety import CAUTIONS

ANGLE_DEG = 0.05
"""Rounding of a drawn angle: points are floats, angles come back by arctan."""
HOSTILE = '<script>alert("x")</script> & $x_2$'


def tray():
    return {
        "FH-03-UC": ek.patterns.universal_curette(shank_bend_deg=6),
        "FH-03-AS1": ek.patterns.area_specific_curette(),
        "FH-03-AS2": ek.patterns.area_specific_curette(bow_radius_mm=np.inf),
        "FH-03-AS3": ek.patterns.area_specific_curette(shank_bend_deg=5),
        "FH-03-HL": ek.patterns.half_length_curette(),
        "FH-03-SS": ek.patterns.straight_sickle(),
        "FH-03-CS": ek.patterns.curved_sickle(),
        "FH-03-HO": ek.patterns.hoe(),
    }


@pytest.fixture(scope="module")
def plan():
    holder = ek.Holder(pivot_height_mm=71.5)
    return ek.plan_bench(tray(), urgent=["FH-03-CS"], minutes_available=10, holder=holder)


class Reader(html.parser.HTMLParser):
    """Text of the page by element, and what an attacker would want."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.path, self.sections, self.text, self.tags = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag == "section":
            self.sections.append("")
        if tag not in ("meta", "br", "polyline", "polygon"):
            self.path.append(tag)

    def handle_endtag(self, tag):
        if tag in ("polyline", "polygon"):
            return
        assert self.path.pop() == tag

    def handle_data(self, data):
        if "style" in self.path:
            return
        self.text.append(data)
        if "section" in self.path:
            self.sections[-1] += data


def _read(text):
    reader = Reader()
    reader.feed(text)
    assert not reader.path
    return reader


def _squeezed(text):
    return re.sub(r"\s+", "", text)


def within(plan, run):
    """The play of a set-up as it is printed, worked out from its window."""
    row = plan.settings.set_index("run").loc[run]
    room = min(row["elevation_deg"] - row["low_deg"], row["high_deg"] - row["elevation_deg"])
    return f"± {max(np.floor(room * 10 + 1e-6) / 10, plan.setting_error_deg):g}°"


@pytest.mark.parametrize("error_deg", [0.25, 0.5, 1.0])
def test_no_play_on_the_sheet_is_less_than_the_holders_error(error_deg):
    plan = ek.plan_bench(tray(), setting_error_deg=error_deg, tolerance_deg=3)
    sheet = compose(plan, "Tray")
    said = [run.within for run in sheet.runs if run.number.isdigit()]
    said += [line.within for block in sheet.blocks for line in block.lines if line.mark.isdigit()]
    assert len(said) > len(plan.settings) > 0
    assert all(float(words.strip("± °")) >= error_deg for words in said)
    assert f"with the holder up to ± {error_deg:g}° off" in sheet.headline


def test_page_has_order_risers_cautions_and_what_is_left(plan):
    text = " ".join("".join(_read(page(compose(plan, "Tray"))).text).split())
    for row in plan.settings.itertuples():
        assert riser_words(row.riser_mm) in text
        assert f"{setting_words(row.elevation_deg)} {within(plan, row.run)}" in text
    for number in ("pivot 71.5 mm above", "80 mm from pivot", "12 mm above the bench without"):
        assert number in text
    for caution in CAUTIONS:
        assert caution in text
    late = plan.edges[~plan.edges["planned"]]
    assert len(late)
    for row in late.itertuples():
        assert f"{row.instrument} {row.edge}: no time within 10 minutes" in text


def _direction(shape):
    x, y = shape.points[-1] - shape.points[0]
    return np.degrees(np.arctan2(y, x))


def test_svg_scales_and_stays_in_its_frame(plan):
    for picture in compose(plan, "Tray").blocks[0].pictures:
        text = svg(picture, width_mm=20, height_mm=15)
        points = np.array(
            [pair.split(",") for p in re.findall(r'points="([^"]*)"', text) for pair in p.split()],
            dtype=float,
        )
        assert points.min() >= -0.01
        assert (points <= [20.01, 15.01]).all()


@pytest.mark.parametrize(
    ("name", "title"), [("a.txt", "T"), ("a", "T"), ("a.html", " "), ("a.HTML.gz", "T")]
)
def test_other_suffixes_and_empty_titles_are_refused(plan, tmp_path, name, title):
    with pytest.raises(EdgekitError):
        ek.setting_sheet(plan, tmp_path / name, title=title)
    assert not list(tmp_path.iterdir())


def test_rod_and_hand_are_named_on_the_sheet():
    u = np.linspace(-3, 3, 61)
    arc = np.stack([u, -0.01 * (9 - u**2), 0 * u], axis=1)
    edge = ek.Edge.from_points(
        arc,
        face_normals=(0, 0, 1),
        internal_angle_deg=75,
        handle_axis=(0, 0, -1),
        inward=(0, -1, 0),
    )
    hollow = dataclasses.replace(ek.patterns.hoe(), edges={"edge": edge}, pattern=None)
    text = page(compose(ek.plan_bench({"K-1": hollow}), "Tray"))
    assert "rod of" in text
    assert "rod stone" in text


def test_page_has_every_edge_with_its_numbers(plan):
    reader = _read(page(compose(plan, "Tray")))
    keys = list(dict.fromkeys(step.requirements.key for step in plan.steps))
    assert len(reader.sections) == len(keys) == plan.edges["planned"].sum()
    for (code, edge), text in zip(keys, reader.sections, strict=True):
        mine = plan.order[(plan.order["instrument"] == code) & (plan.order["edge"] == edge)]
        assert text.startswith(f"{code} {edge}")
        assert entry_code(code, edge) in text
        assert "last width  mm" in text
        assert text.count("ink gone") == len(mine)
        for row in mine.itertuples():
            if row.how == "holder":
                assert f"{setting_words(row.elevation_deg)} {within(plan, row.run)}" in text
            assert f"{row.rounds} round" in text
            assert f" of {row.placements} stroke" in text
            assert f"{row.from_mm:.1f}–{row.to_mm:.1f} mm" in text
        hours = re.findall(r"\d+:\d\d", text)
        turning = mine[(mine["roll_from_deg"] - mine["roll_to_deg"]).abs() > 5]
        assert len(hours) >= turning["placements"].sum()
        assert "roll" not in text


def test_the_page_has_landmarks_headings_in_order_and_its_language(plan):
    reader = _read(page(compose(plan, "Tray")))
    names = [tag for tag, _ in reader.tags]
    assert dict(reader.tags)["html"]["lang"] == "en"
    assert names.count("header") == names.count("main") == names.count("h1") == 1
    levels = [int(tag[1]) for tag in names if re.fullmatch("h[1-6]", tag)]
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert names.count("h3") == plan.edges["planned"].sum()


def test_a_sheet_says_how_to_work_why_this_order_and_what_the_minutes_leave_out(plan):
    sheet = compose(plan, "Tray")
    text = " ".join("".join(_read(page(sheet)).text).split())
    for words in (
        "Why this order: Urgent first (FH-03-CS)",
        "make one stroke: slide the stone once",
        "to and fro counts as two",
        "the last hour ends a round",
        "towards the edge (the stone goes away from the end of the handle",
        "Grind only the blade that carries the block's code; if it is unmarked, do not grind it",
        "if it bites all along, do not grind it",
        "one more round, 2 at most (assumed), then set it aside and ask",
        "A hoe has no toe",
        "Not in it: reading this, measuring, writing",
    ):
        assert words in text
    ends = plan.practice
    practice, planned = ends["practice_seconds"].sum() / 60, ends["seconds"].sum() / 60
    assert f"{practice:.1f} min for the {len(ends)} curettes" in text
    assert f"puts at {planned:.1f} min, {planned / practice:.1f} times as long" in text


def test_a_block_names_its_class_and_what_a_gauge_reads(plan):
    for block in compose(plan, "Tray").blocks:
        blade = tray()[block.instrument]
        assert block.kind == (
            "half-length curette" if "HL" in block.instrument else blade.kind.value
        )
        reads = 180 - blade.edges[block.edge].nominal_angle_deg
        assert block.gauge == f"{reads:.0f}° ± {plan.tolerance_deg:g}°"


def test_the_stone_meets_the_edge_first_when_it_goes_away_from_the_handles_end(plan):
    """The flank leaves the edge away from the handle's end, wherever the stone touches."""
    for step in plan.steps:
        held = step.requirements.held
        along = held.flank[step.stations] @ -step.requirements.edge.handle_axis
        assert along.max() < 0


def test_what_five_minutes_of_the_hour_do_is_no_less_than_a_turned_blade_shows(plan):
    """Turn the blade about the handle by 2.5 degrees; read its turn about the edge."""
    worst = 0.0
    for step in plan.steps:
        held, a = step.requirements.held, step.requirements.edge.handle_axis
        for n, t in zip(held.normal[step.stations], held.tangent[step.stations], strict=True):
            angle = np.radians(2.5)
            cos, sin = np.cos(angle), np.sin(angle)
            turned = n * cos + np.cross(a, n) * sin + a * (a @ n) * (1 - cos)
            seen = turned - (turned @ t) * t
            worst = max(worst, abs(np.degrees(np.arctan2(np.cross(n, seen) @ t, n @ seen))))
    text = " ".join(compose(plan, "T").steps)
    said = float(re.search(r"turns the angle by ([\d.]+)° at most", text)[1])
    assert worst - 0.02 <= said <= worst + 0.12  # rounded up to a tenth; second order left out


def test_by_hand_each_hour_has_its_angle(plan):
    by_hand = [step for step in plan.steps if step.tool == Tool.HAND]
    assert by_hand
    said = [
        [piece for piece in line.toe if piece != "no turning"]
        for block in compose(plan, "T").blocks
        for line in block.lines
        if line.mark == "hand"
    ]
    for words, step in zip(said, by_hand, strict=True):
        assert len(words) == step.placements
        held = step.requirements.held
        for piece, roll in zip(words, step.placement_roll_deg, strict=True):
            order = np.argsort(held.roll_deg[step.stations])
            there = step.stations[order]
            true = np.interp(roll, held.roll_deg[there], held.elevation_deg[there])
            angle = float(re.search(r" at (−?\d+)°", piece)[1].replace("−", "-"))
            assert angle == pytest.approx(true, abs=0.6)  # printed in whole degrees


def test_the_toe_is_drawn_as_the_edge_runs_at_its_middle():
    plan = ek.plan_bench(ek.read_tray("data_demo/tray_FH-03.csv"))
    drawing = compose(plan, "T").toe
    edge = next(s for s in drawing.shapes if s.ink is Ink.EDGE).points
    arrow = next(s for s in drawing.shapes if s.ink is Ink.THIN).points
    x, y = np.diff(edge, axis=0)[len(edge) // 2]
    assert abs(np.degrees(np.arctan2(y, x))) < 3  # neighbouring points of a traced edge
    assert np.allclose(np.diff(arrow, axis=0)[0, 1], 0.0)
    assert np.allclose(arrow[0], edge[len(edge) // 2])
    hoes = compose(ek.plan_bench([ek.patterns.hoe()]), "T")
    assert hoes.toe is None


def test_a_blade_whose_toe_is_its_middle_line_is_named_and_own_traces_are_said(plan):
    text = " ".join(compose(plan, "T").steps)
    assert "FH-03-CS, FH-03-SS: as the blade's middle line runs" in text
    traced = compose(ek.plan_bench(ek.read_tray("data_demo/tray_FH-03.csv")), "T")
    assert "middle line" not in " ".join(traced.steps)
    assert "11° (one standard deviation)" in dict(traced.words)["left, right"]
    assert "standard" not in dict(compose(plan, "T").words)["left, right"]


def test_order_is_called_rising_only_where_it_rises():
    plain = ek.plan_bench(tray())
    assert "from the smallest angle to the largest" in compose(plain, "T").order
    assert plain.settings["elevation_deg"].is_monotonic_increasing
    down = dataclasses.replace(plain, settings=plain.settings[::-1])
    assert "smallest" not in compose(down, "T").order


def test_what_lies_below_zero_is_said_where_it_comes_up():
    blade = ek.patterns.area_specific_curette(bow_radius_mm=12, shank_bend_deg=15)
    plan = ek.plan_bench({"K-1": blade}, tolerance_deg=3)
    low = min(float(step.elevation_deg.min()) for step in plan.steps)
    assert low < -1
    text = "".join(_read(page(compose(plan, "Tray"))).text)
    assert "→ −" in text or "° → " in text
    assert "end of the handle lies lower than the blade" in text
    level = ek.plan_bench([ek.patterns.universal_curette()])
    assert "below 0°" not in "".join(_read(page(compose(level, "Tray"))).text)


def test_sheet_without_the_holders_measures_says_so_and_prints_no_riser():
    plan = ek.plan_bench(tray())
    words = "The holder's measures (height of pivot, reach, height of stone) were not given"
    text = " ".join(_read(page(compose(plan, "Tray"))).text)
    assert words in text
    assert not re.search(r"riser \d|raise pivot \d|no riser\b(?! is)", text)
    assert words.replace("'", "&#x27;") in ek.figures.sheet(plan).html


def test_every_drawing_speaks_and_page_fetches_nothing(plan):
    text = page(compose(plan, "Tray"))
    reader = _read(text)
    pictures = [attrs for tag, attrs in reader.tags if tag == "svg"]
    extra = 3  # which way the toe points, the dial, the line to check
    assert len(pictures) == 2 * plan.edges["planned"].sum() + extra
    assert all(len(attrs["aria-label"]) > 40 and attrs["role"] == "img" for attrs in pictures)
    assert not [tag for tag, _ in reader.tags if tag in ("script", "link", "img", "iframe")]
    assert "http" not in text
    colours = {c.lower() for c in re.findall(r"#[0-9a-fA-F]{3,6}\b", text)}
    assert colours <= {"#000", "#fff", "#d9d9d9"}


def test_text_of_the_user_stays_text(tmp_path):
    plan = ek.plan_bench({HOSTILE: ek.patterns.universal_curette()})
    path = ek.setting_sheet(plan, tmp_path / "a.html", title=HOSTILE)
    reader = _read(path.read_text(encoding="utf-8"))
    assert not [tag for tag, _ in reader.tags if tag == "script"]
    assert HOSTILE in "".join(reader.text)
    frame = ek.figures.sheet(plan, title=HOSTILE)._repr_html_()
    assert frame.count("<") == 4  # its style and the frame itself: the page in it is an attribute
    assert 'srcdoc="&lt;!DOCTYPE' in frame


def test_titles_and_names_are_bounded_and_a_long_one_is_quick(plan, tmp_path):
    begun = time.perf_counter()
    with pytest.raises(EdgekitError, match="title has 1 to 120 letters"):
        ek.setting_sheet(plan, tmp_path / "a.html", title="x" * 2000)
    assert time.perf_counter() - begun < 1.0  # seconds; 2,000 letters once took 121
    with pytest.raises(EdgekitError, match="title has 1 to 120 letters"):
        ek.figures.sheet(plan, title="")
    with pytest.raises(EdgekitError, match="over 80 letters"):
        ek.plan_bench({"x" * 81: ek.patterns.hoe()})
    assert not list(tmp_path.iterdir())


def test_what_is_not_a_plan_is_refused(tmp_path):
    with pytest.raises(EdgekitError, match="plan must be a BenchPlan"):
        ek.setting_sheet({"A": ek.patterns.hoe()}, tmp_path / "a.html")
    with pytest.raises(EdgekitError, match="setting_range must be a SettingRange"):
        ek.plan_bench([ek.patterns.hoe()], setting_range=(0, 90))


def test_same_plan_gives_the_same_page_and_a_file_there_is_left_alone(plan, tmp_path):
    assert page(compose(plan, "Tray")) == page(compose(plan, "Tray"))
    path = tmp_path / "tray.html"
    path.write_text("mine")
    with pytest.raises(EdgekitError, match="exists already"):
        ek.setting_sheet(plan, path)
    assert path.read_text() == "mine"
    ek.setting_sheet(plan, path, replace=True)
    assert path.stat().st_size > 1000


def test_a_browser_that_is_missing_or_fails_is_an_error_with_a_way_out(plan, tmp_path, monkeypatch):
    monkeypatch.setattr("shutil.which", lambda _: None)
    with pytest.raises(ek.Cannot, match=r"Chromium, which is not on this machine.*\.html"):
        ek.setting_sheet(plan, tmp_path / "a.pdf")
    broken = tmp_path / "broken"
    broken.write_text("#!/bin/sh\nexit 3\n")
    broken.chmod(0o755)
    monkeypatch.setattr("shutil.which", lambda _: str(broken))
    with pytest.raises(ek.Cannot, match=r"the browser did not print"):
        ek.setting_sheet(plan, tmp_path / "a.pdf")
    assert [path.name for path in tmp_path.iterdir()] == ["broken"]


def test_drawing_at_the_stone_shows_the_true_angles(plan):
    for step in plan.steps:
        drawing = at_the_stone(step)
        shapes = {shape.ink: shape for shape in drawing.shapes}
        face, stone = _direction(shapes[Ink.FACE]), _direction(shapes[Ink.STONE])
        middle = len(step.stations) // 2
        beta = 180 - step.requirements.held.stone_to_face_deg[step.stations[middle]]
        assert stone == 0
        assert face == pytest.approx(beta, abs=ANGLE_DEG)
        up = 180 - _direction(shapes[Ink.HANDLE])
        assert (up + 180) % 360 - 180 == pytest.approx(step.elevation_deg[middle], abs=ANGLE_DEG)
        assert drawing.labels[0][2].startswith(f"{step.elevation_deg[middle]:.3g}")
        steel = shapes[Ink.STEEL].points
        assert steel[:, 1].min() >= -1e-9  # all of the blade lies on the stone's upper side
        assert np.ptp(np.linalg.norm(steel, axis=1)) > 0.1


@pytest.mark.parametrize(
    "make",
    [
        ek.patterns.universal_curette,
        ek.patterns.area_specific_curette,
        ek.patterns.curved_sickle,
    ],
)
def test_hours_are_where_the_toe_points_when_the_blade_lies_on_the_stone(make):
    """Turn the blade until the stone's normal points down, look along the handle, read the toe."""
    for edge in make().edges.values():
        held, a = ek.orient(edge, stations=40), edge.handle_axis
        for normal, roll in zip(held.normal, held.roll_deg, strict=True):
            up = -(normal - (normal @ a) * a)
            up /= np.linalg.norm(up)
            right = np.cross(a, up)  # of one who looks along a with `up` upwards
            toe = np.array([1.0, 0.0, 0.0])
            hours = np.degrees(np.arctan2(toe @ right, toe @ up)) / 30 % 12
            assert abs((hours - toe_hours(roll) + 6) % 12 - 6) < ANGLE_DEG / 30


def test_clock_shows_the_blade_at_its_first_hour_with_the_ground_side_down(plan):
    for step in plan.steps:
        drawing = clock(step)
        hand = next(s for s in drawing.shapes if s.ink is Ink.STEEL).points
        ground = next(s for s in drawing.shapes if s.ink is Ink.EDGE).points
        hour = float(toe_hours(step.placement_roll_deg[0]))
        up, _ = handle_basis(step.requirements.edge)
        assert up[0] > 0.9
        tip = hand[np.argmax(np.linalg.norm(hand, axis=1))]
        lies = np.degrees(np.arctan2(tip[0], tip[1])) / 30
        assert abs((lies - hour + 6) % 12 - 6) < 1.2  # hours: the toe of a curved blade is aside
        assert np.linalg.norm(hand, axis=1).max() < 1  # within the clock
        if step.tool == Tool.HOLDER and step.requirements.blade.opposite(step.requirements.name):
            assert ground[:, 1].mean() <= hand[:, 1].mean() + 1e-9  # the stone is below


def test_placements_lie_where_spaced_placements_sets_them_one_by_one():
    blade = ek.patterns.universal_curette()
    plan = ek.plan_bench({"UC": blade}, ridge_um=5.0)
    for step in plan.steps:
        edge = blade.edges[step.requirements.name]
        held = ek.orient(edge)
        arcs = ek.spaced_placements(edge, ridge_um=5.0)
        wanted = np.interp(arcs, held.arc_mm, held.roll_deg)
        assert len(arcs) == step.placements
        # degrees: stations are 0.04 mm apart, and a toe of 0.43 mm radius turns 5° over that
        assert np.abs(wanted - step.placement_roll_deg).max() < 5.0


def test_the_top_of_the_dial_is_the_hour_at_which_its_toe_points():
    numbers = [(x, y, int(t)) for x, y, t in dial(8.0).labels if t.isdigit()]
    assert sorted(hour for *_, hour in numbers) == list(range(1, 13))
    for hour in range(1, 13):
        angle = np.radians(30 * hour)  # clockwise, as an hour hand turns
        top = max(numbers, key=lambda n: n[1] * np.cos(angle) - n[0] * np.sin(angle))
        assert top[2] == hour


@pytest.mark.parametrize("handle_mm", [3.5, 8.0, 12.0])
def test_the_dial_is_drawn_at_its_size_with_the_hole_asked_for(handle_mm):
    drawing = dial(handle_mm)
    rim, hole = (np.linalg.norm(shape.points, axis=1) for shape in drawing.shapes[:2])
    assert np.allclose(2 * rim, DIAL_MM)
    assert np.allclose(2 * hole, handle_mm)
    text = svg(drawing)
    size = f"{DIAL_MM + 1:g}"
    assert f'viewBox="0 0 {size} {size}" width="{size}mm" height="{size}mm"' in text


def test_the_handle_is_asked_for_and_assumed_where_nobody_said(plan, tmp_path):
    assumed = entry("handle_radius_mm")
    assert assumed.status is Status.ASSUMED
    assert f"a handle {2 * assumed.value:g} mm across (assumed" in compose(plan, "T").dial_note
    given = compose(plan, "T", 9.5).dial_note
    assert "9.5 mm across." in given
    thick = ek.plan_bench([ek.patterns.hoe()], holder=ek.Holder(handle_radius_mm=4.8))
    assert "9.6 mm across (assumed" in compose(thick, "T").dial_note
    for bad in (0, -8, 30, np.nan, "8"):
        with pytest.raises(EdgekitError, match="handle_diameter_mm"):
            ek.setting_sheet(plan, tmp_path / "a.html", handle_diameter_mm=bad)
