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
from edgekit.clinic.log.entry import entry_code
from edgekit.clinic.sheet.content import compose
from edgekit.clinic.sheet.page import page
from edgekit.clinic.sheet.paper import print_pdf
from edgekit.clinic.sheet.set_up import setting_words
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

SMALLEST = """() => {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const found = [];
  while (walker.nextNode()) {
    const node = walker.currentNode, holder = node.parentElement;
    if (!node.data.trim() || holder.closest('style')) continue;
    const size = parseFloat(getComputedStyle(holder).fontSize);
    const scale = holder.closest('svg') ? holder.getScreenCTM().a : 1;
    found.push([size * scale * 0.75, node.data]);
  }
  return found.sort((a, b) => a[0] - b[0])[0];
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


def test_what_is_cut_out_or_measured_has_its_size_on_paper(browser, plan, tmp_path):
    with offline(browser, 726) as shown:
        shown.emulate_media(media="print")
        opened(shown, page(compose(plan, "Tray FH-03", 9.0)), tmp_path)
        for label, wide in (("Dial to cut", 45), ("A line of 100", 110), ("Section of", 25)):
            box = shown.locator(f'svg[aria-label^="{label}"] >> nth=0').bounding_box()
            assert box["width"] == pytest.approx(wide * PX, abs=0.5)


def test_no_letter_on_paper_is_smaller_than_nine_points(browser, plan, tmp_path):
    html = page(compose(plan, "Tray FH-03"))
    with offline(browser, 726) as shown:
        shown.emulate_media(media="print")
        opened(shown, html, tmp_path)
        points, words = shown.evaluate(SMALLEST)
        assert points >= 9.0, words
        opened(shown, html.replace("font: bold 10pt", "font: bold 7pt"), tmp_path)
        assert shown.evaluate(SMALLEST)[0] == pytest.approx(7.0)


def paper(plan, title="Tray FH-03"):
    return print_pdf(page(compose(plan, title)))


def sides(data):
    return len(re.findall(rb"/Type\s*/Page\b", data))


@pytest.mark.parametrize(("tolerance_deg", "most"), [(2.0, 6), (4.0, 6)])
def test_eight_instruments_take_six_pages_and_no_block_is_torn_from_its_code(
    browser, tolerance_deg, most, tmp_path
):
    holder = ek.Holder(pivot_height_mm=60)
    plan = ek.plan_bench(tray(), tolerance_deg=tolerance_deg, holder=holder)
    data = paper(plan)
    assert sides(data) <= most
    (tmp_path / "a.pdf").write_bytes(data)
    pages = pdf_text(tmp_path / "a.pdf").split("\f")
    assert "before the first stroke" in pages[0]
    assert "may be ground" in pages[0]
    assert "cut out" in pages[1]
    assert "FH-03-" not in "".join(line for line in pages[1].splitlines() if "card" in line)
    assert "Set-ups" in pages[2]
    work = "".join(pages[2:])
    assert work.count("ink gone") == len(plan.order)
    for row in plan.edges.itertuples():
        where = [at for at, text in enumerate(pages) if f"{row.instrument}/{row.edge}/" in text]
        assert where
        assert f"{row.instrument} {row.edge}" in pages[where[0]]
    width, height = map(float, re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data).groups())
    assert (width, height) == pytest.approx((595.28, 841.89), abs=0.5)  # 210 × 297 mm in points


def test_the_demo_tray_takes_five_pages(browser):
    log = ek.read_log("data_demo/log_messy.csv", day_first=True)
    plan = ek.plan_bench(
        ek.read_tray("data_demo/tray_FH-03.csv"),
        tolerance_deg=4,
        urgent=["FH-03-AS1"],
        holder=ek.Holder(pivot_height_mm=60, reach_mm=80, stone_height_mm=12),
    )
    assert sides(print_pdf(page(compose(plan, "Tray FH-03 (invented)", log=log)))) == 5


def test_a_large_tray_takes_more_sides_and_loses_no_edge(browser, tmp_path):
    blades = {f"K-{n}": ek.patterns.universal_curette() for n in range(20)}
    plan = ek.plan_bench(blades)
    assert sides(paper(plan)) > 5
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
        assert entry_code(row.instrument, row.edge) in text
    for row in plan.settings.itertuples():
        assert setting_words(row.elevation_deg) in text
    assert squeezed(" ".join(CAUTIONS)) in text
    assert "TrayЖ" in text  # any letter that the browser has a font for
