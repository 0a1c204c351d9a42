"""Execute the notebooks: ``build`` writes their outputs, ``check`` compares them.

``build NN`` and ``check NN`` take one notebook, ``page NN`` makes a page of it, ``course`` makes
pages and handouts of all lessons as they are saved. ``reference`` makes the reference of the whole
package, from its docstrings, as pages in ``build/reference/``.

Outputs are committed so that a notebook can be read where no kernel runs, all but the style and
script of its questions, which come with the package `lesson`. `check` executes every notebook again
and fails on an error, on anything written to stderr, on a picture without alt text, and on text
that differs from what is committed.
"""

import argparse
import os
import re
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import nbformat
from nbclient import NotebookClient
from traitlets.config import Config

import edgekit as ek
from edgekit.files import write_file
from lesson.course import course, printed
from lesson.page import page as lesson_page

# Small matrices: several threads of a linear-algebra library only get in each other's way.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

HERE = Path(__file__).parent
ROOT = HERE.parent
SECONDS = 300  # for one notebook; a hung kernel must not hang the build
NO_WORDS = re.compile(r'<img(?![^>]*alt="[^"])|<svg viewBox(?![^>]*aria-label="[^"])')
VOLATILE = re.compile(
    r'data:image/png;base64,[^"]*|[0-9a-f]{32}|0x[0-9a-f]+|id="[^"]*"'
    r'| (?:d|cx|cy|x|y)="[^"]*"'  # the lines of a drawing: the last digits are a machine's
)


def notebooks(number: str = "") -> list[Path]:
    numbered = sorted(HERE.glob(f"{number or '[0-9]'}*.ipynb"))
    others = [HERE / "theory.ipynb", HERE / "your_own_clinic.ipynb"]
    return numbered if number else [*numbered, *others]


def execute(path: Path) -> nbformat.NotebookNode:
    """The notebook with fresh outputs and nothing else that varies from run to run."""
    book = nbformat.read(path, as_version=4)
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
        message = f"{path.name}: " + "; ".join(faults)
        raise RuntimeError(message)
    for number, cell in enumerate(book.cells):
        cell["id"] = f"cell-{number:02d}"
        cell.metadata.pop("execution", None)
        outputs = cell.get("outputs", [])
        outputs[:] = [item for item in outputs if 'class="ek-style"' not in str(item)]
    book.metadata["kernelspec"] = {
        "name": "python3",
        "display_name": "Python 3",
        "language": "python",
    }
    book.metadata["language_info"] = {"name": "python"}
    return book


def cell_faults(book: nbformat.NotebookNode) -> list[str]:
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


def words(book: nbformat.NotebookNode) -> list[str]:
    """Sources and text outputs, without what cannot repeat."""
    texts = []
    for cell in book.cells:
        texts.append(cell.source)
        for output in cell.get("outputs", []):
            data = output.get("data", {})
            text = output.get("text") or data.get("text/html") or data.get("text/plain") or ""
            texts.append(VOLATILE.sub("", text))
    return texts


def compile_first() -> None:
    """Have the strokes compiled here, where what is said of it does not reach a notebook."""
    ek.sharpen(ek.patterns.hoe(), ek.methods.freehand(), dull_radius_um=4.0, rng=1)


def build(number: str) -> int:
    for path in notebooks(number):
        write_file(path, nbformat.writes(execute(path)) + "\n", replace=True)
        print(f"wrote {path.relative_to(ROOT)}")
    return 0


def check(number: str) -> int:
    code = 0
    for path in notebooks(number):
        try:
            same = words(execute(path)) == words(nbformat.read(path, as_version=4))
        except Exception as error:  # noqa: BLE001 - one broken notebook must not hide the others
            print(f"{path.name}: {error}")
            code = 1
            continue
        print(f"{path.name}: {'as committed' if same else 'DIFFERS; run notebooks/build.py build'}")
        code |= not same
    return int(code)


def page(number: str) -> int:
    """Execute one notebook and leave it as a page, and a lesson as a teacher's copy as well."""
    matching = notebooks(number)
    if len(matching) != 1:
        print(f"no notebook {number}; there are {', '.join(p.name for p in notebooks())}")
        return 2
    stem, book = matching[0].stem, execute(matching[0])
    if stem == "theory":
        print(f"Open this page: {leave(stem, with_code(book))}")
        return 0
    print(f"Open this page: {leave(stem, lesson_page(book))}")
    if not stem[0].isdigit():  # a tool, with no answers to open
        return 0
    teachers = leave(f"{stem}_teacher", lesson_page(book, teacher=True))
    print(f"Teacher's copy, all answers open: {teachers}")
    return 0


def with_code(book: nbformat.NotebookNode) -> str:
    """The theory is its code, so that its page shows it."""
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(
        exclude_output_prompt=True, mathjax_url="", require_js_url="", jupyter_widgets_base_url=""
    )
    html: str = exporter.from_notebook_node(book)[0]
    return html


def whole_course() -> int:
    """All lessons as saved, without running them: pages, handouts and a list in build/course."""
    books = {path.stem: nbformat.read(path, as_version=4) for path in notebooks("0")}
    notes = {path.stem: path.read_text("utf-8") for path in HERE.glob("*.md")}
    files = course(books, ROOT / "build" / "course", notes)
    sheets = printed([file for file in files if "handout" in file.stem or file.stem in notes])
    print(f"Open this page: {files[0]} ({len(files)} pages)")
    missing = "no browser, so no PDF: print the handouts from yours"
    print(f"{len(sheets)} handouts as PDF beside them" if sheets else missing)
    return 0


def leave(name: str, html: str) -> Path:
    target = ROOT / "build" / f"{name}.html"
    target.parent.mkdir(exist_ok=True)
    write_file(target, html, replace=True)
    return target


def reference() -> int:
    """Make the reference; it needs the extra of that name."""
    try:
        from reference.make import build as build_reference
    except ModuleNotFoundError as error:
        print(f"{error}. Run: uv run --extra reference notebooks/build.py reference")
        return 2
    return build_reference()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("build", "check", "page", "course", "reference"))
    parser.add_argument("number", nargs="?", default="", help="which notebook, such as 01")
    given = parser.parse_args()
    if given.what in ("course", "reference"):
        return whole_course() if given.what == "course" else reference()
    compile_first()
    if given.what == "page":
        return page(given.number or "01")
    return build(given.number) if given.what == "build" else check(given.number)


if __name__ == "__main__":
    sys.exit(main())
