"""The setting sheet in a real browser and on paper: names of any length, sizes, tags, requests.

What must hold stands outside the project: WCAG 2.2 as axe-core checks it; ISO 216 for the paper;
ISO 14289-1 (PDF/UA), which asks for a tree of structure, its mark and a language; poppler's
`pdftotext` as a reader of the paper.
"""

import re
import shutil
import subprocess

import pytest

import edgekit as ek
from edgekit.clinic.sheet.content import compose, setting_words
from edgekit.clinic.sheet.page import MIN_ZOOM, page, print_zoom
from edgekit.clinic.sheet.paper import print_pdf
from edgekit.safety import CAUTIONS
from tests.browser import chromium, offline
from tests.test_setting_sheet import tray

pytestmark = pytest.mark.long
browser = pytest.fixture(scope="module")(chromium)
PX = 96 / 25.4  # CSS pixels per millimetre
WORDS = "left lower quadrant, third cassette from the window, " * 2
NAMES = {"short": "K", "words": WORDS[:80], "one word": "W" * 80}
CLASHES = """() => {
  const pictures = [...document.querySelectorAll('svg')].map(s => s.getBoundingClientRect());
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const found = [];
  while (walker.nextNode()) {
    const node = walker.currentNode;
    if (!node.data.trim() || node.parentElement.closest('svg')) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const block = (node.parentElement.closest('section') ?? document.body).getBoundingClientRect();
    for (const r of range.getClientRects()) {
      if (r.right > block.right + 0.5) found.push('outside: ' + node.data);
      for (const p of pictures)
        if (Math.min(r.right, p.right) - Math.max(r.left, p.left) > 0.5 &&
            Math.min(r.bottom, p.bottom) - Math.max(r.top, p.top) > 0.5) found.push(node.data);
    }
  }
  return found;
}"""


@pytest.fixture(scope="module")
def plan():
    holder = ek.Holder(pivot_height_mm=60)
    return ek.plan_bench(tray(), tolerance_deg=4, urgent=["FH-03-AS1"], holder=holder)


def named(name):
    """A tray of an instrument with an edge cut in stretches, and of one with two edges."""
    blades = {name[:-1] + "1": ek.patterns.area_specific_curette(), name: tray()["FH-03-UC"]}
    return ek.plan_bench(blades, tolerance_deg=3)


def opened(page_, html, tmp_path):
    file = tmp_path / "sheet.html"
    file.write_text(html, encoding="utf-8")
    page_.goto(file.as_uri())


def violations(page_):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    return [item["id"] for item in axe.run(page_).response["violations"]]


@pytest.mark.parametrize("width", [1200, 390])
def test_axe_finds_nothing_and_nobody_is_asked(browser, plan, tmp_path, width):
    with offline(browser, width) as shown:
        opened(shown, page(compose(plan, "Tray FH-03")), tmp_path)
        assert violations(shown) == []
        assert shown.evaluate("document.documentElement.scrollWidth") <= width
        assert shown.asked == []


@pytest.mark.parametrize(
    ("good", "bad", "rule"),
    [
        (' role="img" aria-label=', ' role="img" data-words=', "svg-img-alt"),
        ('<html lang="en">', "<html>", "html-has-lang"),
        ("<h3>", "<h5>", "heading-order"),
        ("<main>", "<div>", "landmark-one-main"),
        ("color: #000", "color: #bbb", "color-contrast"),
    ],
)
def test_planted_faults_are_found(browser, plan, tmp_path, good, bad, rule):
    html = page(compose(plan, "Tray FH-03"))
    assert good in html
    with offline(browser) as shown:
        opened(shown, html.replace(good, bad), tmp_path)
        assert rule in violations(shown)


def test_a_planted_request_and_a_planted_clash_are_found(browser, plan, tmp_path):
    html = page(compose(plan, "Tray FH-03"))
    with offline(browser) as shown:
        picture = '<img alt="logo" src="https://example.org/logo.png"></body>'
        opened(shown, html.replace("</body>", picture), tmp_path)
        assert shown.asked == ["https://example.org/logo.png"]
        floating = html.replace(".pictures { float: right", ".pictures { position: absolute")
        opened(shown, floating, tmp_path)
        assert shown.evaluate(CLASHES) != []


@pytest.mark.parametrize("media", ["print", "screen", "phone"])
@pytest.mark.parametrize("name", NAMES.values(), ids=list(NAMES))
def test_text_keeps_clear_of_drawings_whatever_the_names(browser, tmp_path, name, media):
    title = (name * 120)[:120]
    with offline(browser, {"print": 726, "phone": 390}.get(media, 1200)) as shown:
        shown.emulate_media(media="print" if media == "print" else "screen")
        opened(shown, page(compose(named(name), title)), tmp_path)
        assert shown.evaluate(CLASHES) == []
        assert shown.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_dial_and_line_have_their_size_on_paper_however_small_the_front(browser, plan, tmp_path):
    sheet = compose(plan, "Tray FH-03", 9.0)
    assert print_zoom(sheet) < 1
    with offline(browser, 726) as shown:
        shown.emulate_media(media="print")
        opened(shown, page(sheet), tmp_path)
        dial, line = (
            shown.locator(f".dial svg >> nth={at}").bounding_box()["width"] for at in (0, 1)
        )
        assert dial == pytest.approx(45 * PX, abs=0.5)
        assert line == pytest.approx(110 * PX, abs=0.5)  # 100 and 5 on either side
        front = shown.locator("section svg >> nth=0").bounding_box()["width"]
        assert front == pytest.approx(21 * PX * print_zoom(sheet), abs=0.5)


def paper(plan, title="Tray FH-03"):
    return print_pdf(page(compose(plan, title)))


def sides(data):
    return len(re.findall(rb"/Type\s*/Page\b", data))


@pytest.mark.parametrize("tolerance_deg", [2.0, 4.0])
def test_eight_instruments_fit_both_sides_of_one_a4_and_the_dial_has_its_own(
    browser, tolerance_deg, tmp_path
):
    holder = ek.Holder(pivot_height_mm=60)
    plan = ek.plan_bench(tray(), tolerance_deg=tolerance_deg, holder=holder)
    assert MIN_ZOOM <= print_zoom(compose(plan, "Tray")) <= 1
    data = paper(plan)
    assert sides(data) == 3
    (tmp_path / "a.pdf").write_bytes(data)
    front, back, cut = pdf_text(tmp_path / "a.pdf").split("\f")[:3]
    assert front.count("no wire edge") == len(plan.edges)
    assert "How to work" in back
    assert "Dial, to cut out" in cut
    assert "FH-03" not in cut
    width, height = map(float, re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data).groups())
    assert (width, height) == pytest.approx((595.28, 841.89), abs=0.5)  # 210 × 297 mm in points


def test_a_large_tray_takes_more_sides_and_loses_no_edge(browser, tmp_path):
    blades = {f"K-{n}": ek.patterns.universal_curette() for n in range(20)}
    plan = ek.plan_bench(blades)
    assert sides(paper(plan)) > 3
    text = squeezed(pdf_text(ek.setting_sheet(plan, tmp_path / "a.pdf")))
    assert all(f"K-{n}{edge}" in text for n in range(20) for edge in ("left", "right"))


def test_paper_is_tagged_and_says_its_language(browser, plan):
    data = paper(plan)
    for mark in (
        rb"/StructTreeRoot",
        rb"/Lang \(en\)",
        rb"/Marked true",
        rb"/S /H1",
        rb"/S /Table",
    ):
        assert re.search(mark, data), mark
    assert b"aria" not in data
    speechless = print_pdf(page(compose(plan, "T")).replace('<html lang="en">', "<html>"))
    assert not re.search(rb"/Lang \(en\)", speechless)


def squeezed(text):
    return re.sub(r"\s+", "", text)


def pdf_text(path):
    """Text of a PDF by pdftotext; without it the test of text is skipped."""
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.skip("pdftotext is not there")
    done = subprocess.run([tool, "-layout", str(path), "-"], capture_output=True, check=True)
    return done.stdout.decode("utf-8")


def test_paper_has_every_edge_setting_and_caution(browser, plan, tmp_path):
    text = squeezed(pdf_text(ek.setting_sheet(plan, tmp_path / "a.pdf", title="Tray Ж-器")))
    for row in plan.order.itertuples():
        assert squeezed(f"{row.instrument} {row.edge}") in text
        assert f"{row.from_mm:.1f}–{row.to_mm:.1f}mm" in text
    for row in plan.settings.itertuples():
        assert setting_words(row.elevation_deg) in text
    assert squeezed(" ".join(CAUTIONS)) in text
    assert "TrayЖ" in text  # any letter that the browser has a font for
