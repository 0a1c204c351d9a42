"""Make the reference: draw, write the pages' sources, run Sphinx, check the links."""

from __future__ import annotations

import io
import shutil
import time
from pathlib import Path

from sphinx.application import Sphinx
from sphinx.util.console import strip_escape_sequences

import edgekit as ek

from . import gallery, links, pages
from .names import ROOT, names

HERE = Path(__file__).parent
SOURCES = ROOT / "build" / "reference-sources"
TARGET = ROOT / "build" / "reference"
ROLE = ".. role:: own(code)\n   :class: own\n\n"
SETTINGS: dict[str, object] = {
    "project": "edgekit",
    "version": ek.__version__,
    "release": ek.__version__,
    "copyright": "edgekit contributors",
    "extensions": ["myst_parser", f"{__package__}.linking"],
    "myst_enable_extensions": ["deflist", "dollarmath"],
    "default_role": "literal",
    "rst_prolog": ROLE,
    "nitpicky": True,
    "html_math_renderer": "mathml",
    "html_theme": "furo",
    "html_title": f"edgekit {ek.__version__}",
    "html_static_path": [str(HERE / "style.css")],
    "html_css_files": ["style.css"],
    "html_copy_source": False,
    "html_show_sphinx": False,
    "html_show_copyright": False,
    "html_show_search_summary": False,  # would fetch pages, which file:// forbids
    "html_domain_indices": False,
    "html_use_index": False,  # every name has its page; "Every name" lists them
    "toc_object_entries": False,  # every page carries the whole tree
    "maximum_signature_line_length": 60,
    "pygments_style": "a11y-high-contrast-light",
}


def build(target: Path = TARGET, sources: Path = SOURCES) -> int:
    """Make the reference; warnings and broken links are errors."""
    start = time.monotonic()
    for folder in (sources, target):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
    drawings = gallery.draw_all(sources / gallery.PLACE)
    print(f"drew {len(drawings)} figures ({time.monotonic() - start:.0f} s)")
    pages.write_sources(sources, drawings)
    faults = sphinx(sources, target)
    faults += links.faults(target)
    for fault in faults:
        print(fault)
    if faults:
        print(f"{len(faults)} faults; no reference")
        return 1
    count = len(list(target.rglob("*.html")))
    print(f"{count} pages for {len(names())} names ({time.monotonic() - start:.0f} s)")
    print(f"Open this page: {target / 'index.html'}")
    return 0


def sphinx(sources: Path, target: Path) -> list[str]:
    """Run Sphinx; its warnings."""
    warnings = io.StringIO()
    app = Sphinx(
        srcdir=sources,
        confdir=None,
        outdir=target,
        doctreedir=sources / ".doctrees",
        buildername="html",
        confoverrides=SETTINGS,
        status=None,
        warning=warnings,
        freshenv=True,
        parallel=2,
    )
    app.build(force_all=True)
    return [
        line for line in strip_escape_sequences(warnings.getvalue()).splitlines() if line.strip()
    ]
