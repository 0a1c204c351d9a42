"""Notebooks executed: kept as long as nothing they stand on changes, and what they said."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import sqlite3
import sys
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from functools import cache
from html import unescape
from importlib.metadata import PackageNotFoundError, version
from multiprocessing import get_context
from tempfile import TemporaryDirectory
from typing import Any

import nbformat
from nbclient import NotebookClient
from nbformat import NotebookNode
from traitlets.config import Config

import edgekit as ek
from edgekit.files import write_file
from lesson.source import HERE, saved

__all__ = ["cell_faults", "execute", "executed", "said", "several"]

ROOT = HERE.parent
KEPT = ROOT / "build" / "executed"
STANDS_ON = ("edgekit", "notebooks/lesson", "data_demo")  # all files of these folders
PACKAGES = ("numpy", "scipy", "sympy", "pandas", "matplotlib", "numba", "pillow", "contourpy")
SECONDS = 300  # for one notebook; a hung kernel must not hang the build
NO_WORDS = re.compile(r'<img(?![^>]*alt="[^"])|<svg viewBox(?![^>]*aria-label="[^"])')
VOLATILE = re.compile(
    r'data:image/png;base64,[^"]*|[0-9a-f]{32}|0x[0-9a-f]+|id="[^"]*"'
    r'| (?:d|cx|cy|x|y)="[^"]*"'  # the lines of a drawing: the last digits are a machine's
)
ANSWER = re.compile(r'<div class="ek-box"><p>(.*?)</p></div>', re.DOTALL)


def execute(stem: str) -> NotebookNode:
    """A notebook with fresh outputs and nothing else that varies from run to run.

    Raises
    ------
    RuntimeError
        A cell failed, wrote to stderr, or shows a picture without words.
    """
    _compile_first()
    book = nbformat.reads(saved(stem), as_version=4)
    client = NotebookClient(
        book,
        timeout=SECONDS,
        resources={"metadata": {"path": str(HERE)}},
        coalesce_streams=True,  # how a cell's printed lines are cut up depends on time
    )
    with TemporaryDirectory() as folder:
        if sys.platform != "win32":  # files, not ports: the kernel need not warn of listeners
            client.config = Config(
                {"KernelManager": {"transport": "ipc", "ip": f"{folder}/kernel"}}
            )
        client.execute()
    faults = cell_faults(book)
    if faults:
        message = f"{stem}: " + "; ".join(faults)
        raise RuntimeError(message)
    for cell in book.cells:
        cell.metadata.pop("execution", None)
        outputs = cell.get("outputs", [])
        outputs[:] = [item for item in outputs if 'class="ek-style"' not in str(item)]
    return book


@cache
def _compile_first() -> None:
    """Have the strokes compiled here, where what is said of it does not reach a notebook."""
    ek.sharpen(ek.patterns.hoe(), ek.methods.freehand(), dull_radius_um=4.0, rng=1)


def cell_faults(book: NotebookNode) -> list[str]:
    """What must not be in an executed notebook: errors, stderr, pictures without words."""
    faults = []
    for number, cell in enumerate(book.cells):
        for output in cell.get("outputs", []):
            if output.output_type == "stream" and output.name == "stderr":
                faults.append(f"cell {number} wrote to stderr: {output.text[:200]}")
            if output.output_type == "error":
                faults.append(f"cell {number}: {output.ename}: {output.evalue}")
            data = output.get("data", {})
            if "image/png" in data or NO_WORDS.search(data.get("text/html", "")):
                faults.append(f"cell {number} shows a picture without alt text")
    return faults


def executed(stem: str) -> NotebookNode:
    """The same as `execute`, kept in ``build/executed`` until a file or package changes."""
    target = KEPT / f"{stem}-{_key(saved(stem))}.ipynb"
    KEPT.mkdir(parents=True, exist_ok=True)
    lock = sqlite3.connect(KEPT / f"{stem}.lock", timeout=SECONDS)  # let go when a process dies
    with contextlib.closing(lock):
        lock.execute("BEGIN EXCLUSIVE")  # the others wait for what one of them makes
        if not target.exists():
            book = _apart(stem)
            for old in KEPT.glob(f"{stem}-*.ipynb"):
                old.unlink()
            write_file(target, nbformat.writes(book), replace=True)
    return nbformat.read(target, as_version=4)


def _apart(stem: str) -> NotebookNode:
    """The same as `execute`, in a process of its own: kernels leave sockets and loops open."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as process:
        return process.submit(execute, stem).result()


def several(run: Callable[[str], Any], names: Sequence[str]) -> list[Any]:
    """Run one notebook on each core; what comes of them, in order."""
    _compile_first()
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        jobs = [pool.submit(run, name) for name in reversed(names)]  # the last take longest
        return [job.result() for job in reversed(jobs)]


def _key(source: str) -> str:
    return hashlib.sha256((source + _ground()).encode()).hexdigest()[:16]


@cache
def _ground() -> str:
    """A digest of what every notebook stands on: the folders' files, Python, the packages."""
    made = hashlib.sha256(sys.version.encode())
    for name in PACKAGES:
        with contextlib.suppress(PackageNotFoundError):
            made.update(f"{name} {version(name)}".encode())
    for folder in STANDS_ON:
        for path in sorted((ROOT / folder).rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                made.update(path.relative_to(ROOT).as_posix().encode() + path.read_bytes())
    return made.hexdigest()


def said(book: NotebookNode) -> dict[str, Any]:
    """What an executed notebook said: its answers in words, a digest of each cell's text.

    The digests leave out what cannot repeat on another machine.
    """
    texts = {cell["id"]: [*map(_text, cell["outputs"])] for cell in book.cells if "outputs" in cell}
    answers = [match for text in texts.values() for match in ANSWER.findall("".join(text))]
    digests = {
        name: hashlib.sha256(VOLATILE.sub("", "\n".join(text)).encode()).hexdigest()[:12]
        for name, text in texts.items()
        if text
    }
    return {"answers": [unescape(re.sub(r"<[^>]*>", "", a)) for a in answers], "cells": digests}


def _text(output: Mapping[str, Any]) -> str:
    data = output.get("data", {})
    return str(output.get("text") or data.get("text/html") or data.get("text/plain") or "")
