"""The floors of the house, and what may stand in its files."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import edgekit as ek

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "edgekit"
FLOORS = ("geometry", "contact", "wear", "study", "care", "figures")
MODULES = sorted(PACKAGE.rglob("*.py"))
TEXT = (".py", ".md", ".toml", ".csv", ".ipynb", ".html", ".yml", "")
LONGEST_MODULE = 300  # lines of code; a longer one says why in its first lines


def imports(path: Path) -> set[str]:
    """Dotted names a module imports, anywhere in it but under TYPE_CHECKING."""
    found: set[str] = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    typing_only = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in typing_only:
            continue
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            found.add(node.module or "")
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return found


def floor(path: Path) -> int | None:
    """Number of the floor a module stands on; None for the ground."""
    room = path.relative_to(PACKAGE).parts[0]
    return FLOORS.index(room) if room in FLOORS else None


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_only_go_down(path: Path) -> None:
    mine = floor(path)
    for name in imports(path):
        parts = name.split(".")
        if parts[0] != "edgekit" or len(parts) < 2:
            continue
        if parts[1] in FLOORS:
            assert path.name == "__init__.py" or mine is not None, name
            assert mine is None or FLOORS.index(parts[1]) <= mine, f"{path} climbs to {name}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_only_figures_draw(path: Path) -> None:
    if floor(path) != FLOORS.index("figures"):
        assert not {n for n in imports(path) if n.split(".")[0] in ("matplotlib", "ipywidgets")}


def test_importing_edgekit_loads_nothing_heavy() -> None:
    code = "import edgekit, sys; print([m for m in sys.modules if m in {heavy}])"
    heavy = {"pandas", "scipy", "sympy", "matplotlib", "ipywidgets"}
    done = subprocess.run(
        [sys.executable, "-c", code.format(heavy=heavy)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_every_public_name_loads_and_is_documented() -> None:
    for name in ek.__all__:
        found = getattr(ek, name)
        assert name == "__version__" or (found.__doc__ or "").strip(), name


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'sharpener'"):
        _ = ek.sharpener


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


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_modules_stay_short(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    code = {n.lineno for n in ast.walk(tree) if isinstance(n, ast.stmt | ast.expr)}
    doc = ast.get_docstring(tree) or ""
    assert len(code) <= LONGEST_MODULE or "long because" in doc, f"{path}: {len(code)} lines"


def tracked() -> list[Path]:
    names = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    return [ROOT / name for name in names if name]


def test_no_file_names_a_machine_or_a_registry() -> None:
    bad = re.compile(r"/(home|root|work|Users|tmp/t)/\w|pypi\.org|pythonhosted|/opt/pypi")
    for path in tracked():
        if path.suffix in TEXT and path.name != Path(__file__).name and path.is_file():
            found = bad.search(path.read_text(encoding="utf-8", errors="replace"))
            assert not found, f"{path.relative_to(ROOT)}: {found}"


def test_top_level_holds_what_was_agreed() -> None:
    agreed = {
        "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "edgekit", "notebooks", "tests",
        "data_demo",
    }  # fmt: skip
    top = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} == agreed


def test_no_module_takes_the_place_of_a_public_name() -> None:
    homes = ek._HOMES
    rooms = {path.stem for path in PACKAGE.glob("*.py")} | {p.name for p in PACKAGE.iterdir()}
    assert not set(homes) & rooms
