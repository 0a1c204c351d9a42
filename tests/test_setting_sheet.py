"""The setting sheet read back: the page by an HTML parser, the paper by pdftotext if it is there.

Sources: `html.parser` of the standard library and poppler's `pdftotext` as independent readers; the
drawings against the geometry they are computed from.
"""

import dataclasses
import html.parser
import re
import shutil
import subprocess
import zlib

import numpy as np
import pytest

import edgekit as ek
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.sheet.content import compose, riser_words, setting_words
from edgekit.clinic.sheet.drawing import Ink, across_the_edge, from_the_handle, svg
from edgekit.clinic.sheet.page import page, print_zoom
from edgekit.errors import EdgekitError
from edgekit.figures.clinic import sheet_paper
from edgekit.figures.clinic.sheet_paper import _pages, sheet_pdf
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


def test_sheet_without_the_holders_measures_says_so_and_prints_no_riser(tmp_path):
    plan = ek.plan_bench(tray())
    words = "The holder's measures (height of pivot, reach, height of stone) were not given"
    text = " ".join(_read(page(compose(plan, "Tray"))).text)
    assert words in text
    assert not re.search(r"riser \d|pivot up|no riser\b(?! is)", text)
    assert words in ek.figures.sheet(plan).alt
    assert _squeezed(words) in _squeezed(_pdf_text(ek.setting_sheet(plan, tmp_path / "a.pdf")))


@pytest.mark.parametrize("error_deg", [0.25, 0.5, 1.0])
def test_no_play_on_the_sheet_is_less_than_the_holders_error(error_deg):
    plan = ek.plan_bench(tray(), setting_error_deg=error_deg, tolerance_deg=3)
    sheet = compose(plan, "Tray")
    said = [run.within for run in sheet.runs if run.number.isdigit()]
    said += [line.within for block in sheet.blocks for line in block.lines if line.mark.isdigit()]
    assert len(said) > len(plan.settings) > 0
    assert all(float(words.strip("± °")) >= error_deg for words in said)
    assert f"with the holder up to ± {error_deg:g}° off" in sheet.headline


def test_page_has_every_edge_with_its_numbers(plan):
    reader = _read(page(compose(plan, "Tray")))
    keys = list(dict.fromkeys(step.requirements.key for step in plan.steps))
    assert len(reader.sections) == len(keys) == plan.edges["planned"].sum()
    for (code, edge), text in zip(keys, reader.sections, strict=True):
        mine = plan.order[(plan.order["instrument"] == code) & (plan.order["edge"] == edge)]
        assert f"{code} {edge}" in text
        assert "stone to face" in text
        assert "test stick bites" in text
        for row in mine.itertuples():
            if row.how == "holder":
                assert setting_words(row.elevation_deg) in text
                assert f"{setting_words(row.elevation_deg)} {within(plan, row.run)}" in text
            start, end = (round(r) for r in (row.roll_from_deg, row.roll_to_deg))
            said = [int(n.replace("−", "-")) for n in re.findall(r"(−?\d+)°", text)]
            assert start in said
            assert end in said or abs(row.roll_to_deg - row.roll_from_deg) < 0.5
            assert f"{row.placements} placement" in text
            assert f"{row.rounds} round" in text
            assert f"{row.from_mm:.1f}–{row.to_mm:.1f} mm" in text


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


def test_every_drawing_speaks_and_page_fetches_nothing(plan):
    reader = _read(page(compose(plan, "Tray")))
    pictures = [attrs for tag, attrs in reader.tags if tag == "svg"]
    assert len(pictures) == 2 * plan.edges["planned"].sum()
    assert all(len(attrs["aria-label"]) > 40 and attrs["role"] == "img" for attrs in pictures)
    assert not [tag for tag, _ in reader.tags if tag in ("script", "link", "img", "iframe")]
    assert "http" not in page(compose(plan, "Tray"))


def test_text_of_the_user_stays_text(tmp_path):
    plan = ek.plan_bench({HOSTILE: ek.patterns.universal_curette()})
    path = ek.setting_sheet(plan, tmp_path / "a.html", title=HOSTILE)
    reader = _read(path.read_text(encoding="utf-8"))
    assert not [tag for tag, _ in reader.tags if tag == "script"]
    assert HOSTILE in "".join(reader.text)
    pdf = ek.setting_sheet(plan, tmp_path / "a.pdf", title=HOSTILE)
    assert _squeezed(HOSTILE) in _squeezed(_pdf_text(pdf))


def _pdf_text(path):
    """Text of a PDF by pdftotext; without it the test of text is skipped."""
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.skip("pdftotext is not there")
    done = subprocess.run([tool, "-layout", str(path), "-"], capture_output=True, check=True)
    return done.stdout.decode("utf-8")


def test_paper_has_every_edge_setting_and_caution(plan, tmp_path):
    path = ek.setting_sheet(plan, tmp_path / "tray.pdf", title="Tray FH-03")
    text = _squeezed(_pdf_text(path))
    assert "TrayFH-03" in text
    for row in plan.order.itertuples():
        assert _squeezed(f"{row.instrument} {row.edge}") in text
        assert f"{row.from_mm:.1f}–{row.to_mm:.1f}mm" in text
        if row.how == "holder":
            assert setting_words(row.elevation_deg) in text
    for row in plan.settings.itertuples():
        assert _squeezed(riser_words(row.riser_mm)) in text
        assert _squeezed(f"{setting_words(row.elevation_deg)}{within(plan, row.run)}") in text
    assert "pivot71.5mmabovethebench,80mmfrompivot" in text
    # lines break where they fit, so words are looked for without their spaces
    assert _squeezed(" ".join(CAUTIONS)) in text
    assert "Notinthissession" in text


def _page_count(data):
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", data))


@pytest.mark.parametrize("tolerance_deg", [1.5, 2.0, 4.0])
def test_eight_instruments_fit_one_page_of_a4(tolerance_deg):
    plan = ek.plan_bench(tray(), tolerance_deg=tolerance_deg)
    sheet = compose(plan, "Tray")
    data = sheet_pdf(sheet)
    assert _page_count(data) == 1
    box = [float(n) for n in re.search(rb"/MediaBox \[([^\]]*)\]", data)[1].split()]
    assert np.allclose(box, [0, 0, 595.28, 841.89], atol=0.01)  # ISO 216: 210 × 297 mm
    assert 0.75 <= print_zoom(sheet) <= 1


def test_eight_instruments_with_two_edges_each_fit_one_page():
    blades = {f"K-{n}": ek.patterns.universal_curette() for n in range(8)}
    assert _page_count(sheet_pdf(compose(ek.plan_bench(blades), "Tray"))) == 1


def test_large_tray_breaks_into_pages_without_losing_an_edge():
    blades = {f"K-{n}": ek.patterns.universal_curette() for n in range(20)}
    plan = ek.plan_bench(blades)
    sheet = compose(plan, "Tray")
    placed = [block for page_ in _pages(sheet, 1.0) for block, _, _ in page_]
    assert len(placed) == 40
    assert len({(b.instrument, b.edge) for b in placed}) == 40
    assert _page_count(sheet_pdf(sheet)) == len(_pages(sheet, 1.0)) > 1


@pytest.mark.parametrize("scale", [1.0, 0.86])
def test_no_block_on_paper_covers_another_or_the_foot(scale, plan):
    from edgekit.figures.clinic.sheet_paper import HEIGHT, MARGIN, _block, _foot, _Pen

    sheet = compose(plan, "Tray")
    pen = _Pen(None, scale)
    foot = _foot(pen, sheet, 0.0, last=True)
    for blocks in _pages(sheet, scale):
        by_column = {}
        for block, x, top in blocks:
            end = _block(pen, block, x, top, 95.0)
            assert top >= by_column.get(x, 0.0)
            by_column[x] = end
        assert max(by_column.values()) + foot <= HEIGHT - MARGIN + 1e-9


def test_same_plan_gives_the_same_bytes(plan):
    sheet = compose(plan, "Tray")
    assert sheet_pdf(sheet) == sheet_pdf(sheet)
    assert page(sheet) == page(sheet)


def _direction(shape):
    x, y = shape.points[-1] - shape.points[0]
    return np.degrees(np.arctan2(y, x))


def test_drawing_across_the_edge_shows_the_true_angles(plan):
    for step in plan.steps:
        shapes = {shape.ink: shape for shape in across_the_edge(step).shapes}
        face, stone = _direction(shapes[Ink.FACE]), _direction(shapes[Ink.STONE])
        beta = 180 - step.requirements.held.stone_to_face_deg[step.stations].mean()
        assert stone == 0
        assert face == pytest.approx(beta, abs=ANGLE_DEG)
        steel = shapes[Ink.STEEL].points
        assert steel[:, 1].min() >= -1e-9  # all of the blade lies on the stone's upper side
        spread = np.ptp(np.linalg.norm(steel, axis=1))
        assert spread > 0.1


def test_handle_is_drawn_at_its_elevation_where_it_lies_across_the_edge():
    plan = ek.plan_bench([ek.patterns.universal_curette()])
    for step in plan.steps:
        handle = next(s for s in across_the_edge(step).shapes if s.ink is Ink.HANDLE)
        assert 180 - _direction(handle) == pytest.approx(15.0, abs=ANGLE_DEG)


def test_view_from_the_handle_has_the_stone_at_the_rolls_and_on_the_outside(plan):
    for step in plan.steps:
        drawing = from_the_handle(step)
        first = next(s for s in drawing.shapes if s.ink is Ink.STONE)
        last = next(s for s in drawing.shapes if s.ink is Ink.STONE_LATER)
        for shape, roll in ((first, step.roll_deg[0]), (last, step.roll_deg[-1])):
            # 0° is the toe, up on paper; clockwise from there
            touch = 90 - np.degrees(np.arctan2(*(shape.points.mean(axis=0))[::-1]))
            line = _direction(shape)
            assert np.isclose((line + roll) % 180, 0, atol=ANGLE_DEG) or np.isclose(
                (line + roll) % 180, 180, atol=ANGLE_DEG
            )
            assert np.isfinite(touch)
        if step.requirements.name == "left" and step.tool == Tool.HOLDER:
            assert first.points[:, 0].mean() <= 0
        if step.requirements.name == "right" and step.tool == Tool.HOLDER:
            assert first.points[:, 0].mean() >= 0


def test_drawings_have_no_colour():
    plan = ek.plan_bench([ek.patterns.universal_curette()])
    text = page(compose(plan, "Tray"))
    colours = {c.lower() for c in re.findall(r"#[0-9a-fA-F]{3,6}\b", text)}
    assert colours <= {"#000", "#fff", "#d9d9d9"}
    data = sheet_pdf(compose(plan, "Tray"))
    streams = b"".join(
        zlib.decompress(part)
        for part in re.findall(rb"stream\r?\n(x.*?)\r?\nendstream", data, re.DOTALL)
        if part[:2] in (b"x\x9c", b"x\xda", b"x\x01")
    )
    assert b" rg" in streams or b" g" in streams
    for r, g, b in re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b", streams):
        assert r == g == b


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


def test_titles_and_names_are_bounded_and_long_words_wrap(plan, tmp_path):
    """Wrapping takes the same time per letter however long the text is: counted, not timed."""
    with pytest.raises(EdgekitError, match="title has 1 to 120 letters"):
        ek.setting_sheet(plan, tmp_path / "a.pdf", title="x" * 121)
    with pytest.raises(EdgekitError, match="title has 1 to 120 letters"):
        ek.figures.sheet(plan, title="")
    with pytest.raises(EdgekitError, match="over 80 letters"):
        ek.plan_bench({"x" * 81: ek.patterns.hoe()})
    assert not list(tmp_path.iterdir())
    widest = ek.plan_bench({"W" * 80: ek.patterns.hoe()})
    ek.setting_sheet(widest, tmp_path / "a.pdf", title="W" * 120)
    assert _squeezed(_pdf_text(tmp_path / "a.pdf")).count("W") >= 200


def test_wrapping_keeps_every_letter_and_looks_at_each_a_few_times(monkeypatch):
    looked = 0
    advance = sheet_paper._advance

    def counted(letter, bold):
        nonlocal looked
        looked += 1
        return advance(letter, bold)

    monkeypatch.setattr(sheet_paper, "_advance", counted)
    for text in ("W" * 2000, "ab " * 700, "short", "", "i " + "W" * 300 + " end"):
        looked = 0
        lines = sheet_paper._wrap(text, 16, 118.0, bold=True)
        assert looked <= 40 * len(text)  # lines of some 30 letters
        assert "".join(lines).replace(" ", "") == text.replace(" ", "")
        assert max(sheet_paper._width(line, 16, bold=True) for line in lines) <= 118.0
        assert text.startswith(lines[0])


def test_what_is_not_a_plan_is_refused(tmp_path):
    with pytest.raises(EdgekitError, match="plan must be a BenchPlan"):
        ek.setting_sheet({"A": ek.patterns.hoe()}, tmp_path / "a.pdf")
    with pytest.raises(EdgekitError, match="setting_range must be a SettingRange"):
        ek.plan_bench([ek.patterns.hoe()], setting_range=(0, 90))


@pytest.mark.parametrize("suffix", [".html", ".pdf"])
def test_file_that_exists_is_left_alone(plan, tmp_path, suffix):
    path = tmp_path / f"tray{suffix}"
    path.write_text("mine")
    with pytest.raises(EdgekitError, match="exists already"):
        ek.setting_sheet(plan, path)
    assert path.read_text() == "mine"
    ek.setting_sheet(plan, path, replace=True)
    assert path.stat().st_size > 1000


def test_letters_the_paper_cannot_show_are_refused_and_the_page_keeps_them(tmp_path):
    plan = ek.plan_bench({"器械-1": ek.patterns.hoe()})
    with pytest.raises(EdgekitError, match="lacks a letter"):
        ek.setting_sheet(plan, tmp_path / "a.pdf")
    assert not list(tmp_path.iterdir())
    assert "器械-1" in ek.setting_sheet(plan, tmp_path / "a.html").read_text(encoding="utf-8")
    greek = ek.plan_bench({"Αθήνα-Ж": ek.patterns.hoe()})
    path = ek.setting_sheet(greek, tmp_path / "b.pdf")
    assert "Αθήνα-Ж" in _pdf_text(path)


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
