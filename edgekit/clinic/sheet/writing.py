"""Write the setting sheet of a bench plan, as a web page or as PDF, or show it in a notebook."""

from __future__ import annotations

import os
from pathlib import Path

from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.log.log import Log
from edgekit.clinic.sheet.content import compose
from edgekit.clinic.sheet.page import page
from edgekit.clinic.sheet.paper import print_pdf
from edgekit.display import escaped
from edgekit.errors import BadArgument
from edgekit.files import file_path, write_file
from edgekit.life.retire import MaxWidthLoss, MinWidth
from edgekit.record import Record

__all__ = ["SheetPage", "setting_sheet", "sheet"]

# The sheet prints from its own file; on a page that shows it, the beginning is enough.
FRAME = (
    ".edgekit-sheet { width: 100%; max-width: 54rem; height: 44rem; border: 1px solid #000; } "
    "@media print { .edgekit-sheet { height: 8cm; } }"
)


class SheetPage(Record):
    """A setting sheet to look at: a notebook shows the page itself, in a frame.

    Attributes
    ----------
    title : str
        The sheet's title.
    html : str
        The whole page, as `edgekit.setting_sheet` writes it.
    alt : str
        What it is, in a line.
    """

    title: str
    html: str
    alt: str

    def __repr__(self) -> str:
        return self.alt

    def _repr_html_(self) -> str:
        return (
            f'<style>{FRAME}</style><iframe class="edgekit-sheet" title="{escaped(self.alt)}" '
            f'srcdoc="{escaped(self.html)}"></iframe>'
        )


def setting_sheet(
    plan: BenchPlan,
    path: str | os.PathLike[str],
    *,
    title: str = "Setting sheet",
    handle_diameter_mm: float | None = None,
    log: Log | None = None,
    retire: MaxWidthLoss | MinWidth | None = None,
    replace: bool = False,
) -> Path:
    """Write the pages to work from, A4, one side each, their parts in the order of work.

    First what is decided, signed and measured before the first stroke; then the holder's check and
    what is cut out; then the set-ups in order, how a line is done, and one block per edge with its
    drawings, a line for the width and the code that carries it into the log (column sheet_entry of
    `edgekit.read_log`).

    Parameters
    ----------
    plan : BenchPlan
    path : path
        Ends in ``.html``, or in ``.pdf``, which the Chromium of this machine prints.
    title : str
        Stands at the top, such as the name of the tray; at most 120 letters.
    handle_diameter_mm : float, optional
        Across the handles, for the hole of the dial [mm], between 3 and 16. By default that of
        the plan's holder, else assumed (``handle_radius_mm`` in `edgekit.evidence`).
    log : Log, optional
        Where each blade's last width and its limit are read; without it lines are left for them.
    retire : MaxWidthLoss or MinWidth, optional
        The limit, of the first reading in the log; 20 % by default (derived, Murray et al. 1984).
    replace : bool
        Without it a file that exists is left alone.

    Returns
    -------
    Path

    Raises
    ------
    EdgekitError
        Another suffix, an empty or long title, a handle out of range, something else than a log or
        such a rule, a file that exists or cannot be written, or, for PDF, no Chromium.

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
    html = page(compose(plan, title, handle_diameter_mm, log, retire))
    data = html if suffix == ".html" else print_pdf(html)
    return write_file(target, data, replace=replace)


def sheet(
    plan: BenchPlan,
    *,
    title: str = "Setting sheet",
    handle_diameter_mm: float | None = None,
    log: Log | None = None,
    retire: MaxWidthLoss | MinWidth | None = None,
) -> SheetPage:
    """The setting sheet to look at in a notebook.

    Parameters
    ----------
    plan : BenchPlan
    title : str
        Stands on top.
    handle_diameter_mm : float, optional
        As in `edgekit.setting_sheet` [mm].
    log, retire : optional
        As in `edgekit.setting_sheet`.

    Returns
    -------
    SheetPage

    Raises
    ------
    BadArgument
        Not a bench plan; an empty or long title; a handle out of range; no log or no such rule.

    Examples
    --------
    >>> import edgekit as ek
    >>> plan = ek.plan_bench({"FH-01-UC": ek.patterns.universal_curette()})
    >>> ek.figures.sheet(plan, title="Tray 1")
    Setting sheet. Tray 1. 2 edges · 1 setting · about ...
    """
    words = compose(plan, title, handle_diameter_mm, log, retire)
    alt = f"Setting sheet. {words.title}. {words.headline}."
    return SheetPage(title=words.title, html=page(words), alt=alt)
