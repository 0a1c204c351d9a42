"""Write the setting sheet of a bench plan, as a web page or as PDF."""

from __future__ import annotations

import os
from pathlib import Path

from edgekit import checks
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.sheet.content import compose
from edgekit.clinic.sheet.page import page
from edgekit.errors import BadArgument
from edgekit.figures.clinic.sheet_paper import PAPER_MM, sheet_pdf, sheet_png
from edgekit.figures.words import Picture
from edgekit.files import file_path, write_file

__all__ = ["setting_sheet", "sheet"]

MIN_DPI, MAX_DPI = 10.0, 600.0


def setting_sheet(
    plan: BenchPlan,
    path: str | os.PathLike[str],
    *,
    title: str = "Setting sheet",
    replace: bool = False,
) -> Path:
    """Write the page to work from: order of settings, one block per edge, checks, cautions.

    Parameters
    ----------
    plan : BenchPlan
    path : path
        Ends in ``.html`` or ``.pdf``.
    title : str
        Stands at the top, such as the name of the tray; at most 120 letters.
    replace : bool
        Without it a file that exists is left alone.

    Returns
    -------
    Path

    Raises
    ------
    EdgekitError
        Another suffix, an empty or long title, a file that exists or cannot be written, or, in
        PDF, a letter that its font lacks.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import edgekit as ek
    >>> plan = ek.plan_bench({"FH-01-UC": ek.patterns.universal_curette()})
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "tray.html"
    >>> "FH-01-UC" in ek.setting_sheet(plan, path, title="Tray FH-01").read_text(encoding="utf-8")
    True
    """
    target = file_path(path)
    suffix = target.suffix.lower()
    if suffix not in (".html", ".pdf"):
        raise BadArgument(
            "a setting sheet is written as .html or .pdf",
            str(target),
            "End the name in one of them.",
        )
    words = compose(plan, title)
    data = page(words) if suffix == ".html" else sheet_pdf(words)
    return write_file(target, data, replace=replace)


def sheet(plan: BenchPlan, *, title: str = "Setting sheet", dpi: float = 75.0) -> Picture:
    """The first page of the setting sheet as a picture, to look at in a notebook.

    Parameters
    ----------
    plan : BenchPlan
    title : str
        Stands on top.
    dpi : float
        Pixels per inch, 10 to 600.

    Returns
    -------
    Picture
        Of the first page; `setting_sheet` writes them all.

    Raises
    ------
    BadArgument
        Not a bench plan; a resolution outside its range.

    Examples
    --------
    >>> import edgekit as ek
    >>> plan = ek.plan_bench({"FH-01-UC": ek.patterns.universal_curette()})
    >>> "FH-01-UC" in ek.figures.sheet(plan).alt
    True
    """
    dpi = checks.between("dpi", dpi, MIN_DPI, MAX_DPI)
    words = compose(plan, title)
    runs = "; ".join(
        f"{run.number}: {f'{run.elevation} {run.within}'.strip()}, {run.riser}, {run.edges}"
        for run in words.runs
    )
    return Picture(
        png=sheet_png(words, dpi),
        alt=f"Setting sheet, one page. {words.title}. {words.headline}. {words.holder} "
        f"In order: {runs}.",
        caption=f"{words.title}: {words.headline}.",
        width_px=round(PAPER_MM[0] / 25.4 * dpi),
    )
