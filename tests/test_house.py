"""The rules of the house: rooms and arrows, sizes, the map, what may stand in a file."""

import ast
import importlib
import importlib.util
import io
import pkgutil
import re
import subprocess
import sys
import tokenize
from pathlib import Path

import pytest

import edgekit as ek
from edgekit.lazy import stub_names

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "edgekit"
MODULES = sorted(PACKAGE.rglob("*.py"))
LESSON = sorted((ROOT / "notebooks" / "lesson").glob("*.py"))  # what the notebooks import
TEXT = (".py", ".md", ".toml", ".csv", ".ipynb", ".html", ".yml", "")
MAX_MODULE = 300  # lines of code, pure tables of data apart
MAX_FUNCTION = 40  # lines of code
MAX_MODULES = 12  # in one folder
MAX_LINE = 100
TABLES = {"evidence_table.py"}  # a table of data, with the few lines that read it
NOT_CODE = {
    tokenize.COMMENT,
    tokenize.NL,
    tokenize.NEWLINE,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
}


def room_map():
    """The script that writes the map."""
    spec = importlib.util.spec_from_file_location("room_map", ROOT / ".ci" / "room_map.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


NAMES = set(stub_names(ek.__file__)[0])  # every public name
ROOMS = tuple(reversed(room_map().ROOMS))
PARTS_OF_CLINIC = ("log", "weighing", "bench", "forecasting", "cost", "sheet", "own")


def short(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def dotted(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def imports(path: Path) -> set[str]:
    """Modules that a module imports anywhere in it, those for type checkers included."""
    known = {dotted(each) for each in MODULES}
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            for alias in node.names:
                full = f"{node.module}.{alias.name}"
                names.add(full if full in known else str(node.module))
    return names


IMPORTS = {dotted(path): imports(path) for path in MODULES}


def floor(name: str, order: tuple[str, ...], depth: int) -> int | None:
    """Place of a dotted name in an order of rooms; None outside them."""
    parts = name.split(".")
    return order.index(parts[depth]) if len(parts) > depth and parts[depth] in order else None


@pytest.mark.parametrize("path", MODULES, ids=short)
def test_imports_only_go_down(path: Path) -> None:
    name = dotted(path)
    if name == "edgekit":
        return
    for order, depth in ((ROOMS, 1), (PARTS_OF_CLINIC, 2)):
        here = floor(name, order, depth)
        for other in IMPORTS[name]:
            there = floor(other, order, depth) if other.startswith("edgekit.") else None
            if depth == 2 and not (
                name.startswith(prefix := "edgekit.clinic") and other.startswith(prefix)
            ):
                continue
            assert there is None or (here is not None and there <= here), (
                f"{name} climbs to {other}"
            )


def test_nothing_imports_in_a_circle() -> None:
    left = {name: {n for n in names if n in IMPORTS} - {name} for name, names in IMPORTS.items()}
    while free := [name for name, names in left.items() if not names & set(left)]:
        for name in free:
            del left[name]
    assert not left, f"these wait for one another: {sorted(left)}"


@pytest.mark.parametrize("path", MODULES, ids=short)
def test_only_figures_draw(path: Path) -> None:
    if not dotted(path).startswith("edgekit.figures"):
        roots = {name.split(".")[0] for name in IMPORTS[dotted(path)]}
        assert not roots & {"matplotlib", "ipywidgets"}


def test_folders_hold_at_most_a_dozen_modules() -> None:
    for folder in {path.parent for path in MODULES}:
        names = [p.name for p in folder.glob("*.py") if p.name != "__init__.py"]
        assert len(names) <= MAX_MODULES, f"{folder.name}: {names}"


def test_no_room_bears_a_public_name() -> None:
    rooms = {path.stem for path in PACKAGE.glob("*.py")} | {p.name for p in PACKAGE.iterdir()}
    assert not (NAMES - {"figures", "clinic"}) & rooms


def test_public_names_stay_themselves_whatever_is_imported() -> None:
    first = {name: getattr(ek, name) for name in NAMES}
    for module in pkgutil.walk_packages(ek.__path__, "edgekit."):
        importlib.import_module(module.name)
    for name, was in first.items():
        assert getattr(ek, name) is was, f"an import replaced edgekit.{name}"


def test_the_map_is_current() -> None:
    script = room_map()
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert script.START + script.room_map() + script.END in page, "run .ci/room_map.py write"


@pytest.mark.parametrize("path", MODULES, ids=short)
def test_every_module_says_in_a_line_what_it_holds(path: Path) -> None:
    line = room_map().first_line(path)
    assert line.endswith((".", ":")), f"{short(path)}: {line!r} is no whole sentence"
    assert 20 <= len(line) <= MAX_LINE


def code_lines(text: str) -> set[int]:
    """Numbers of the lines that hold code: no blank lines, comments or docstrings."""
    doc: set[int] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and ast.get_docstring(
            node, clean=False
        ):
            doc.update(range(node.body[0].lineno, node.body[0].end_lineno + 1))
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type not in NOT_CODE:
            lines.update(range(token.start[0], token.end[0] + 1))
    return lines - doc


@pytest.mark.parametrize("path", [*MODULES, *LESSON], ids=lambda p: p.relative_to(ROOT).as_posix())
def test_modules_and_functions_stay_short(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    lines = code_lines(text)
    assert len(lines) <= MAX_MODULE or path.name in TABLES, f"{len(lines)} lines of code"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            size = len(lines & set(range(node.lineno, node.end_lineno + 1)))
            assert size <= MAX_FUNCTION, f"{node.name} has {size} lines of code"


SOURCES = [
    *MODULES,
    *LESSON,
    *sorted((ROOT / "tests").glob("*.py")),
    *sorted(  # but the texts of notebooks, which are laid out for reading
        path for path in (ROOT / "notebooks").rglob("*.py") if path.parent.name != "sources"
    ),
    *sorted((ROOT / "data_demo").glob("*.py")),
    *sorted((ROOT / ".ci").glob("*.py")),
]


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_lines_are_short_and_laid_out_alike(path: Path) -> None:
    for number, line in enumerate(path.read_text(encoding="utf-8").split("\n"), 1):
        assert len(line) <= MAX_LINE, f"line {number} has {len(line)} characters"
        assert not re.search(r"#\s*fmt: (skip|off)", line), f"line {number} opts out of the layout"


def test_importing_edgekit_loads_nothing_heavy() -> None:
    code = "import edgekit, sys; print([m for m in sys.modules if m in {heavy}])"
    heavy = {"pandas", "scipy", "sympy", "matplotlib", "ipywidgets"}
    done = subprocess.run(
        [sys.executable, "-c", code.format(heavy=heavy)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_every_public_name_loads_and_is_documented() -> None:
    for name in NAMES:
        assert name == "__version__" or (getattr(ek, name).__doc__ or "").strip(), name


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'sharpener'"):
        _ = ek.sharpener


def test_a_name_of_the_last_version_says_what_it_is_called_now() -> None:
    for old, new in ek._RENAMED.items():
        assert old not in NAMES
        with pytest.raises(AttributeError, match=rf"edgekit\.{old} is now edgekit\.{new}"):
            getattr(ek, old)
        assert re.search(rf"`{old}` +\| +`{new}`", (ROOT / "DEVELOPERS.md").read_text("utf-8"))
        target = ek
        for part in new.split("."):
            target = getattr(target, part)


def test_every_default_has_a_status_and_a_source() -> None:
    table = ek.evidence()
    assert list(table.columns) == ["name", "value", "spread", "unit", "status", "source"]
    statuses = {"published", "common practice", "memory", "derived", "assumed"}
    assert set(table["status"]) <= statuses
    assert table["name"].is_unique
    assert (table["source"].str.len() > 5).all()


def test_every_entry_of_the_evidence_table_is_used() -> None:
    code = "\n".join(p.read_text(encoding="utf-8") for p in MODULES if p.stem != "evidence_table")
    families = re.findall(r'value\(f"\{\w+\}(\w+)"\)', code)
    for name in ek.evidence()["name"]:
        used = f'"{name}"' in code or any(name.endswith(tail) for tail in families)
        assert used, f"{name} decides nothing"


def tracked() -> list[Path]:
    names = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    return [ROOT / name for name in names if name]


def test_no_file_names_a_machine_or_a_registry() -> None:
    bad = re.compile(r"/(home|root|work|Users|tmp/t)/\w|pypi\.org|pythonhosted|/opt/pypi")
    for path in tracked():
        if path.suffix in TEXT and path.name != Path(__file__).name and path.is_file():
            hit = bad.search(path.read_text(encoding="utf-8", errors="replace"))
            assert not hit, f"{path.relative_to(ROOT)}: {hit}"


def test_top_level_holds_what_was_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"}
    agreed |= {"edgekit", "notebooks", "tests", "data_demo"}
    top = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} == agreed
