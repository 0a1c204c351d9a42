"""Print a page as PDF in the Chromium of this machine: tagged, with its language and its sizes.

A page set for paper needs a browser anyway. Chromium is the one that marks headings, lists and
pictures with their words in the file (PDF/UA, ISO 14289-1, asks for that) from the command line.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from edgekit.errors import Cannot

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
SECONDS = 60
QUIET = (  # asking nobody for anything
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PRINT = ("--headless", "--no-pdf-header-footer")
REMEDY = "Write the sheet as .html and print that from any browser, at 100 %."


def browser() -> str | None:
    """Path of the browser that prints; None where there is none."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def print_pdf(html: str) -> bytes:
    """The pages of an HTML text as a PDF file.

    Raises
    ------
    Cannot
        No Chromium on this machine, or one that does not print.
    """
    program = browser()
    if program is None:
        what = "a PDF is printed by Chromium, which is not on this machine"
        raise Cannot(what, ", ".join(BROWSERS), REMEDY)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        source, target = Path(folder, "sheet.html"), Path(folder, "sheet.pdf")
        source.write_text(html, encoding="utf-8")
        command = [program, *PRINT, *QUIET, f"--user-data-dir={folder}/profile"]
        if hasattr(os, "geteuid") and os.geteuid() == 0:  # the browser's own rule for root
            command.append("--no-sandbox")
        try:
            subprocess.run(
                [*command, f"--print-to-pdf={target}", source.as_uri()],
                capture_output=True,
                check=True,
                timeout=SECONDS,
            )
            return target.read_bytes()
        except (OSError, subprocess.SubprocessError) as error:
            raise Cannot("the browser did not print", type(error).__name__, REMEDY) from error
