"""The public face: its names, its types as a user's tools see them, its namespaces."""

import ast
import importlib
import inspect
import os
import re
import subprocess
import sys
import textwrap
from pathlib import Path

import jedi
import numpy as np
import pytest

import edgekit as ek
from edgekit.lazy import stub_names
from tests import user_script
from tests.results import NAMESPACES

HERE = Path(__file__).parent
ROOT = HERE.parent
MAX_SHOWN = 60  # names in dir(ek)
HOMES, _ = stub_names(ek.__file__)
# What annotations may name besides: Python, numpy, pandas, matplotlib, sympy.
FOREIGN = {
    "Any",
    "ArrayLike",
    "Axes",
    "Callable",
    "Collection",
    "Executor",
    "FilePath",
    "FloatArray",
    "Literal",
    "Mapping",
    "Path",
    "PathLike",
    "Sequence",
    "Iterable",
    "bool",
    "bytes",
    "dict",
    "float",
    "int",
    "list",
    "np",
    "object",
    "os",
    "pd",
    "str",
    "sympy",
    "tuple",
    "checks",
}
# Unions of public types, and types of arguments that Python or numpy make.
ALIASES = {"Inputs", "Pattern", "Recession", "Seed"}


def test_names_that_are_shown_are_few_and_exist():
    assert len(dir(ek)) <= MAX_SHOWN
    assert dir(ek) == sorted(ek.__all__)
    assert set(ek.__all__) <= set(HOMES)
    for name in HOMES:
        getattr(ek, name)


@pytest.mark.parametrize("name", NAMESPACES)
def test_a_namespace_shows_its_useful_names_only(name):
    space = getattr(ek, name)
    assert dir(space) == sorted(space.__all__)
    assert not [key for key in dir(space) if key.startswith("_") or not hasattr(space, key)]


def test_the_stub_names_what_is_there():
    for name, (module, there) in HOMES.items():
        home = importlib.import_module(module)
        assert getattr(ek, name) is getattr(home, there, None) or module == "edgekit"


def test_names_stay_what_the_stubs_say_once_every_module_is_imported():
    """A room of the name of a function would take its place when it is imported."""
    script = """
import importlib, pkgutil, edgekit as ek
for module in pkgutil.walk_packages(ek.__path__, "edgekit."):
    importlib.import_module(module.name)
from edgekit.lazy import stub_names
for space in (ek, ek.clinic):
    for name, (home, there) in stub_names(space.__file__)[0].items():
        module = importlib.import_module(home)
        inside = importlib.import_module(f"edgekit.{there}") if home == "edgekit" else None
        meant = inside or getattr(module, there)
        if getattr(space, name) is not meant:
            print(space.__name__, name)
"""
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (0, ""), done.stdout + done.stderr


def public():
    """Every public function by its dotted name, also those of namespaces."""
    spaces = {"": ek} | {f"{name}.": getattr(ek, name) for name in NAMESPACES}
    for prefix, space in spaces.items():
        for name in HOMES if space is ek else dir(space):
            thing = getattr(space, name)
            if inspect.isfunction(thing):
                yield prefix + name, thing


def annotations(function):
    tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    arguments = [*tree.args.posonlyargs, *tree.args.args, *tree.args.kwonlyargs]
    notes = [tree.returns, *(argument.annotation for argument in arguments)]
    return {node.id for note in notes if note for node in ast.walk(note) if hasattr(node, "id")}


def test_every_type_taken_or_returned_is_public():
    reachable = set(HOMES) | {name for space in NAMESPACES for name in dir(getattr(ek, space))}
    for name, function in public():
        missing = annotations(function) - reachable - FOREIGN - ALIASES
        assert not missing, f"{name} takes or returns {missing}, which ek does not have"


def checked(tmp_path, text):
    script = tmp_path / "script.py"
    script.write_text(text)
    command = [sys.executable, "-m", "mypy", "--strict", "--no-incremental"]
    # faults of other packages, which have no types, are not the script's
    command += ["--follow-imports=silent", str(script)]
    return subprocess.run(
        command, cwd=tmp_path, env=environment(), capture_output=True, text=True, check=False
    )


def environment():
    return os.environ | {"MYPYPATH": str(ROOT), "PYTHONPATH": str(ROOT)}


@pytest.mark.slow
def test_a_users_script_passes_type_checks_and_a_wrong_type_does_not(tmp_path):
    text = (HERE / "user_script.py").read_text(encoding="utf-8")
    right = checked(tmp_path, text)
    assert right.returncode == 0, right.stdout
    for good, bad in (
        ("ek.orient(edge, ek.stones", "ek.orient(blade, ek.stones"),
        ("RodStone(radius_mm=3.0)", 'RodStone(radius_mm="3")'),
        ("session: ek.Session", "session: ek.Life"),
    ):
        assert good in text
        wrong = checked(tmp_path, text.replace(good, bad))
        assert wrong.returncode == 1
        assert "[arg-type]" in wrong.stdout or "[assignment]" in wrong.stdout


@pytest.mark.slow
def test_the_stub_agrees_with_what_runs(tmp_path):
    command = [sys.executable, "-m", "mypy.stubtest", "edgekit", "--ignore-missing-stub"]
    command += ["--concise", "--mypy-config-file", str(ROOT / "pyproject.toml")]
    done = subprocess.run(
        command, cwd=tmp_path, env=environment(), capture_output=True, text=True, check=False
    )
    assert "error: not checked" not in done.stdout
    wrong = [
        line
        for line in done.stdout.splitlines()
        if line.split(" ")[0].removeprefix("edgekit.").removeprefix("clinic.").count(".") == 0
    ]
    assert not wrong


def test_the_users_script_runs():
    assert "missing.toml" in user_script.main()


@pytest.mark.parametrize(
    ("code", "wanted"),
    [
        ("ek.orient(edge).", {"elevation_deg", "normal", "table"}),
        ("ek.", {"orient", "patterns", "Orientation"}),
        ("ek.stones.", {"RodStone", "ceramic_stone"}),
        ("ek.clinic.", {"read_log", "forecast"}),
        ("ek.patterns.hoe().edges['edge'].", {"length_mm", "stations"}),
    ],
)
def test_editors_complete(code, wanted):
    before = "import edgekit as ek\nedge = ek.patterns.hoe().edges['edge']\n"
    project = jedi.Project(ROOT, added_sys_path=[str(ROOT)])
    found = jedi.Script(before + code, project=project).complete(3, len(code))
    assert wanted <= {item.name for item in found}


def test_a_seed_and_its_generator_draw_alike():
    blade, method = ek.patterns.hoe(), ek.methods.freehand()
    edge = blade.edges["edge"]
    given = {"dull_radius_um": 4.0, "stations": 24}
    seeds = (7, np.random.default_rng(7), np.random.PCG64(7), np.random.SeedSequence(7))
    sessions = [ek.sharpen(blade, method, rng=seed, **given) for seed in seeds]
    assert len({session.steel_mg for session in sessions}) == 1
    lives = [ek.live(blade, method, rng=seed, stations=16) for seed in (7, np.random.PCG64(7))]
    assert lives[0].history.equals(lives[1].history)
    ends = [ek.finish(edge, method, rng=seed, stations=24).profile.z_um for seed in (7, [7])]
    assert ends[0].shape == ends[1].shape
    for bad in (None, -1, True, "7", 0.5):
        with pytest.raises(ek.BadArgument, match="a seed"):
            ek.sharpen(blade, method, rng=bad, **given)
        with pytest.raises(ek.BadArgument, match="a seed"):
            ek.live(blade, method, rng=bad)
        with pytest.raises(ek.BadArgument, match="a seed"):
            ek.finish(edge, method, rng=bad)


def test_errors_say_their_facts_as_data(tmp_path):
    with pytest.raises(ek.BadArgument) as caught:
        ek.dull_edge(75, -1.0)
    assert caught.value.argument == "radius_um"
    toml = tmp_path / "blade.toml"
    toml.write_text('format = "edgekit blade 1"\nkind = = 3\n')
    with pytest.raises(ek.BadFile) as caught:
        ek.read_blade(toml)
    assert (caught.value.file, caught.value.line) == ("blade.toml", 2)
    log = tmp_path / "log.csv"
    log.write_text("instrument,date,event,width_mm\nA,2025-01-06,measured,0.9\nA,nonsense,used,\n")
    with pytest.raises(ek.BadFile) as caught:
        ek.read_log(log, strict=True)
    assert (caught.value.file, caught.value.line, caught.value.column) == ("log.csv", 3, "date")
    prices = tmp_path / "prices.csv"
    prices.write_text("item,name,price,currency\nsession,held,-1,EUR\n")
    with pytest.raises(ek.BadFile) as caught:
        ek.read_prices(prices)
    assert caught.value.file == "prices.csv"


def test_edges_are_a_mapping_that_teaches():
    edges = ek.patterns.universal_curette().edges
    assert list(edges) == ["left", "right"]
    assert edges.get("used") is None
    assert "used" not in edges
    with pytest.raises(KeyError):
        edges["used"]
    with pytest.raises(ek.EdgekitError, match=r"Take blade.edges\['left'\] or blade.edges"):
        edges["used"]
    with pytest.raises(ek.EdgekitError, match=r"blade.edges\['left'\]"):
        ek.orient(ek.patterns.universal_curette())


def has_section(doc, heading):
    return re.search(rf"^{heading}\n-+$", doc, re.MULTILINE) is not None


@pytest.mark.parametrize(("name", "function"), [*public()], ids=[name for name, _ in public()])
def test_a_public_function_says_what_it_takes_returns_and_raises(name, function):
    doc = inspect.getdoc(function)
    arguments = list(inspect.signature(function).parameters)
    if arguments:
        assert has_section(doc, "Parameters")
        assert has_section(doc, "Raises")
        listed = doc[doc.index("Parameters\n-") :]
        for argument in arguments:
            assert re.search(rf"^(?:[\w ,]+, )?{argument}\b[^\n]*$", listed, re.MULTILINE), argument
    if inspect.signature(function).return_annotation not in (None, "None"):
        assert has_section(doc, "Returns")
    assert ">>> " in doc
