"""Small changes of the code, one at a time: does a test notice? Outside CI, for it takes hours.

``python -m tests.mutate known``: the changes that once left every test green.
``python -m tests.mutate GROUP [SAMPLES] [SEED]``: a random sample of a group of rooms.

The tests of a group run once while the lines that each of them reaches are recorded; a change is
then judged by the tests that reach its line, the shortest first, in a copy of the repository. What
no test notices is printed, and so is the share noticed with its 90 % interval (Jeffreys). Changes
that alter no result are listed in `EQUIVALENT` with the reason, and do not count.
"""

import ast
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
GUARD_S = 90
MAX_TESTS = 60  # of those that reach a line, the shortest
MAX_CALLS = 30  # of one function in one test, while lines are recorded
GROUPS = {
    "geometry": (
        ("geometry", "digitising"),
        (
            "curves orientation trace sections_and_blades bad_files bad_input same_bits regression "
            "pictures_trace pictures_outline pictures_loss pictures_reading pictures_board checks"
        ),
    ),
    "contact": (
        ("contact", "edge_finish"),
        (
            "orientation holder facets intervals texture edge_line tooth_wear cutting hardness "
            "finish lay bad_input finish_bad_input bad_input_finish_and_strength regression"
        ),
    ),
    "wear": (
        ("method", "grinding", "bending", "life"),
        (
            "strokes session kernel stroke_oracles recession_field worn_blade life dulling "
            "strength section_properties lay wire_edge abrasive bad_input_wear regression"
        ),
    ),
    "study": (
        ("study",),
        ("compare sweep sensitivity face_or_sides conformance results_version regression"),
    ),
    "clinic": (
        ("clinic",),
        (
            "log history forecast growth update model_check survival budget bench_plan settings "
            "setting_sheet tray regression"
        ),
    ),
}
# (File, line as it stands, why the change alters no result.)
EQUIVALENT = (
    ("", "__all__", "names shown, not results"),
    (
        "edge_finish/tooth_wear.py",
        "* wedge.height + wedge.apex * radius",
        "all points begin with one radius, and only differences of height are used",
    ),
    (
        "bending/beam.py",
        "if wears and any(wear.drop_mm.any()",
        "a face that is not lowered has a drop of 0, which changes nothing; the test saves time",
    ),
    (
        "method/lay.py",
        "ahead = a - (n @ a)[:, None] * n",
        "a part along n is square to both directions that the angle is taken from",
    ),
)
SWAPS = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.And: ast.Or,
    ast.Or: ast.And,
}
NAMES = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum"}
NAMES |= {"sin": "cos", "cos": "sin", "floor": "ceil", "ceil": "floor", "any": "all", "all": "any"}

# File, text, text in its place: changes that once left the tests green. Judged by `JUDGES`.
KNOWN = (
    (
        "clinic/forecasting/forecast.py",
        "z * np.sqrt(known.var_loss)",
        "np.sqrt(known.var_loss) / z",
    ),
    ("clinic/forecasting/forecast.py", "z * known.group_sd_um", "known.group_sd_um / z"),
    ("clinic/cost/budget.py", "pmf[0] *= 1 - p", "pmf[0] *= 1 + p"),
    ("clinic/cost/budget.py", "codes, 1 - passed", "codes, 1 + passed"),
    ("clinic/cost/budget.py", "chance * (1 - chance)", "chance * (1 + chance)"),
    ("clinic/cost/budget.py", "count * (1 - count) * price**2", "count * (1 + count) * price**2"),
    ("clinic/cost/saving.py", "before_sd**2 + after_sd**2", "before_sd**2 - after_sd**2"),
    ("clinic/cost/saving.py", "2 + (slope * exponent_sd)", "2 - (slope * exponent_sd)"),
    ("study/face_or_sides.py", "np.minimum(np.minimum(by_width", "np.maximum(np.minimum(by_width"),
    ("study/face_or_sides.py", "np.minimum(by_width, by_th", "np.maximum(by_width, by_th"),
    ("study/face_or_sides.py", "drop = np.minimum(drop", "drop = np.maximum(drop"),
    ("study/sensitivity.py", "t.ppf((1 + level) / 2", "t.ppf((1 + level) / 3"),
    ("study/sensitivity.py", "(1 + level) / 2], axis", "(1 + level) / 3], axis"),
    ("study/sensitivity.py", "(1 + share) / 2]", "(1 + share) / 3]"),
    (
        "clinic/bench/settings.py",
        "low - self.low_deg) / self.step",
        "low - self.low_deg) * self.step",
    ),
    (
        "clinic/bench/settings.py",
        "high - self.low_deg) / self.step",
        "high - self.low_deg) * self.step",
    ),
    (
        "clinic/bench/settings.py",
        "inside - self.low_deg) / self.step",
        "inside - self.low_deg) * self.step",
    ),
    ("edge_finish/material_curve.py", "(x_um[-1] - x_um[0])", "(x_um[-1] + x_um[0])"),
    ("method/grain.py", "280: (36.5, 1.5)", "280: (37.5, 1.5)"),
    ("method/grain.py", "280: (52.2, 2.0)", "280: (53.2, 2.0)"),
    ("method/lay.py", "ahead + np.sin(turn)", "ahead - np.sin(turn)"),
    ("method/lay.py", "np.arctan2(into, along)", "np.arctan2(-into, along)"),
    ("edge_finish/tooth_wear.py", "self.wedge.apex * self.radius", "self.wedge.apex / self.radius"),
    ("edge_finish/tooth_wear.py", "- self.wedge.apex * np.sqrt", "+ self.wedge.apex * np.sqrt"),
    (
        "clinic/forecasting/survival.py",
        "np.where(estimate < 1, 0.0, 1.0)",
        "np.where(estimate < 1, 0.0, 0.0)",
    ),
    (
        "clinic/forecasting/survival.py",
        "np.where(estimate < 1, 0.0, 1.0)",
        "np.where(estimate < 1, 1.0, 1.0)",
    ),
    ("clinic/forecasting/survival.py", "(times == t) & done", "(times == t) | done"),
    ("clinic/forecasting/survival.py", "times >= t", "times > t"),
    ("bending/beam.py", "if wears and self.far_field is not", "if wears or self.far_field is not"),
    ("bending/beam.py", "limit is not None and len(here)", "limit is None and len(here)"),
    ("digitising/reader.py", "max(noise_um, value(", "min(noise_um, value("),
    (
        "digitising/smoothing.py",
        "len(self.residual_mm) - self.freedom, 1.0",
        "len(self.residual_mm) + self.freedom, 1.0",
    ),
    ("digitising/smoothing.py", "(2 * spare)", "(3 * spare)"),
    ("clinic/log/columns.py", "names.issuperset(REQUIRED)", "names.issubset(REQUIRED)"),
    ("clinic/log/columns.py", "len(rows[row] - {None})", "-len(rows[row] - {None})"),
    (
        "clinic/log/columns.py",
        "key in position or key in extra",
        "key in position and key in extra",
    ),
    ("clinic/forecasting/session_rate.py", "0.05, 5.0", "0.05, 1.0"),
    ("clinic/forecasting/session_rate.py", "0.05, 5.0", "0.5, 5.0"),
    ("clinic/forecasting/session_rate.py", "(0.05 * mean) ** 2", "(0.5 * mean) ** 2"),
    ("clinic/forecasting/session_rate.py", "b = mean * irregularity", "b = mean / irregularity"),
    ("edge_finish/edge_profile.py", "deviation[0] *= np.sqrt(2)", "deviation[0] /= np.sqrt(2)"),
    ("edge_finish/edge_profile.py", "np.exp(-(k**2) / 8)", "np.exp(-(k**2) / 7)"),
    ("edge_finish/edge_profile.py", "(rate[1:] + rate[:-1]) / 2", "(rate[1:] - rate[:-1]) / 2"),
)


JUDGES = {
    "clinic/forecasting/forecast.py": "forecast",
    "clinic/forecasting/session_rate.py": "forecast",
    "clinic/forecasting/survival.py": "survival",
    "clinic/cost/budget.py": "budget",
    "clinic/cost/saving.py": "budget",
    "clinic/bench/settings.py": "settings",
    "clinic/log/columns.py": "log",
    "study/face_or_sides.py": "face_or_sides",
    "study/sensitivity.py": "sensitivity",
    "method/grain.py": "abrasive",
    "method/lay.py": "lay",
    "edge_finish/material_curve.py": "texture",
    "edge_finish/tooth_wear.py": "tooth_wear",
    "edge_finish/edge_profile.py": "edge_line",
    "bending/beam.py": "strength",
    "digitising/reader.py": "trace",
    "digitising/smoothing.py": "trace",
}


# ---- what could be changed -----------------------------------------------------------------


class Mutator(ast.NodeTransformer):
    """Makes change number `target` of a tree; `found` lists (line, what) of all of them."""

    def __init__(self, target=-1):
        self.target, self.found = target, []

    def _is_it(self, node, what):
        self.found.append((node.lineno, what))
        return len(self.found) - 1 == self.target

    def visit_BinOp(self, node):
        self.generic_visit(node)
        if type(node.op) in SWAPS and self._is_it(node, type(node.op).__name__):
            node.op = SWAPS[type(node.op)]()
        return node

    def visit_AugAssign(self, node):
        return self.visit_BinOp(node)

    def visit_Compare(self, node):
        self.generic_visit(node)
        if type(node.ops[0]) in SWAPS and self._is_it(node, type(node.ops[0]).__name__):
            node.ops[0] = SWAPS[type(node.ops[0])]()
        return node

    def visit_BoolOp(self, node):
        self.generic_visit(node)
        if self._is_it(node, type(node.op).__name__):
            node.op = SWAPS[type(node.op)]()
        return node

    def visit_UnaryOp(self, node):
        self.generic_visit(node)
        plain = isinstance(node.op, ast.USub | ast.Not)
        return node.operand if plain and self._is_it(node, type(node.op).__name__) else node

    def visit_Call(self, node):
        self.generic_visit(node)
        name = (
            node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        )
        if name in NAMES and self._is_it(node, name):
            setattr(
                node.func, "attr" if isinstance(node.func, ast.Attribute) else "id", NAMES[name]
            )
        return node

    def visit_Constant(self, node):
        number = isinstance(node.value, int | float) and not isinstance(node.value, bool)
        if number and self._is_it(node, repr(node.value)):
            return ast.copy_location(ast.Constant(node.value + 1), node)
        return node

    def visit_AnnAssign(self, node):
        if node.value is not None:
            node.value = self.visit(node.value)
        return node

    def visit_arg(self, node):
        return node

    def visit_Raise(self, node):
        return node  # words of messages

    def visit_JoinedStr(self, node):
        return node


def changes(path):
    """(Line, what) of every change of a file."""
    mutator = Mutator()
    mutator.visit(ast.parse(path.read_text(encoding="utf-8")))
    return mutator.found


def changed(path, number):
    """Text of a file with one change made."""
    tree = Mutator(number).visit(ast.parse(path.read_text(encoding="utf-8")))
    return ast.unparse(ast.fix_missing_locations(tree))


def equivalent(path, line):
    """Whether a line is listed as one whose changes alter no result."""
    text = path.read_text(encoding="utf-8").split("\n")[line - 1]
    return any(str(path).endswith(file) and part in text for file, part, _ in EQUIVALENT)


# ---- which tests reach a line --------------------------------------------------------------


class Recorder:
    """Pytest plugin: for every test the lines it reaches, and how long it takes."""

    def __init__(self, package):
        self.package, self.tests, self.lines = str(package), {}, set()

    def _enter(self, frame, event, _):
        code = frame.f_code
        if event != "call" or not code.co_filename.startswith(self.package):
            return None
        self.calls[code] = self.calls.get(code, 0) + 1
        return self._line if self.calls[code] <= MAX_CALLS else None

    def _line(self, frame, event, _):
        if event == "line":
            self.lines.add((frame.f_code.co_filename[len(self.package) + 1 :], frame.f_lineno))
        return self._line

    def pytest_runtest_setup(self):
        self.lines, self.calls, self.began = set(), {}, time.perf_counter()
        sys.settrace(self._enter)

    def pytest_runtest_teardown(self, item):
        sys.settrace(None)
        self.tests[item.nodeid] = (time.perf_counter() - self.began, sorted(self.lines))


ARGUMENTS = ("-q", "-x", "-n", "0", "-p", "no:cacheprovider", "--no-header")


def in_child(copy, work, output=os.devnull):
    """What `work` gives in a child process inside the copy; None if it takes too long."""
    read, write = os.pipe()
    child = os.fork()
    if not child:
        os.close(read)
        os.chdir(copy)
        os.environ["OPENBLAS_NUM_THREADS"] = "1"
        for name in [n for n in sys.modules if n.split(".")[0] in ("tests", "edgekit")]:
            del sys.modules[name]
        sys.path[:] = [str(copy), *(p for p in sys.path if Path(p or ".").resolve() != ROOT)]
        with Path(output).open("w", encoding="utf-8") as sink:
            os.dup2(sink.fileno(), 1)
            os.dup2(sink.fileno(), 2)
            with os.fdopen(write, "w") as pipe:
                pipe.write(json.dumps(work()))
        os._exit(0)
    os.close(write)
    with os.fdopen(read) as pipe:
        said = pipe.read()
    os.waitpid(child, 0)
    return json.loads(said) if said else None


def recorded(copy, modules):
    """Tests by the lines they reach: {file: {line: [(seconds, test)]}}."""
    import pytest

    def work():
        recorder = Recorder(copy / "edgekit")
        pytest.main([*(a for a in ARGUMENTS if a != "-x"), *modules], plugins=[recorder])
        return recorder.tests

    table = {}
    for test, (seconds, lines) in (in_child(copy, work) or {}).items():
        for file, line in lines:
            table.setdefault(file, {}).setdefault(line, []).append((seconds, test))
    return table


def noticed(copy, file, text, tests):
    """Whether one of the tests fails once a file holds another text."""
    import pytest

    path = copy / "edgekit" / file
    before = path.read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")

    def work():
        signal.alarm(GUARD_S)  # ends the child: an endless loop is noticed
        return int(pytest.main([*ARGUMENTS, *tests]))

    try:
        return in_child(copy, work) != 0
    finally:
        path.write_text(before, encoding="utf-8")


def copied():
    """A copy of the repository to change."""
    copy = Path(tempfile.mkdtemp()) / "copy"
    skipped = shutil.ignore_patterns(".git", "__pycache__", "notebooks", ".venv")
    shutil.copytree(ROOT, copy, ignore=skipped)
    (copy / "notebooks").mkdir()
    return copy


def reaching(table, file, line):
    """The shortest tests that reach a line, or one next to it where a statement has many lines."""
    lines = table.get(file, {})
    for at in (line, line - 1, line - 2, line - 3, line + 1):
        if at in lines:
            return [test for _, test in sorted(lines[at])[:MAX_TESTS]]
    return []


def modules_of(words):
    """Paths of test modules by the middle of their names."""
    paths = [f"tests/test_{word}.py" for word in words.split()]
    return [path for path in paths if (ROOT / path).exists()]


def interval(hits, number):
    """90 % interval of a share (Jeffreys)."""
    from scipy.stats import beta

    return beta.ppf([0.05, 0.95], hits + 0.5, number - hits + 0.5)


def sample(group, number, seed):
    """Print the survivors among random changes of a group, and the share noticed."""
    rooms, words = GROUPS[group]
    copy = copied()
    began = time.perf_counter()
    table = recorded(copy, modules_of(words))
    print(f"lines recorded in {time.perf_counter() - began:.0f} s", flush=True)
    files = [path for room in rooms for path in sorted((ROOT / "edgekit" / room).rglob("*.py"))]
    every = [(path, i, *c) for path in files for i, c in enumerate(changes(path))]
    chance = random.Random(f"{group} {seed}")
    hits = tried = 0
    for path, i, line, what in chance.sample(every, len(every)):
        if tried == number:
            break
        if equivalent(path, line):
            continue
        tried += 1
        file = str(path.relative_to(ROOT / "edgekit"))
        tests = reaching(table, file, line)
        if tests and noticed(copy, file, changed(path, i), tests):
            hits += 1
        else:
            text = path.read_text(encoding="utf-8").split("\n")[line - 1].strip()
            print(f"{file}:{line}: {what} in {text!r} ({len(tests)} tests)", flush=True)
        if tried % 20 == 0:
            print(f"… {hits} of {tried}, {time.perf_counter() - began:.0f} s", flush=True)
    low, high = interval(hits, tried)
    print(f"{group}: {hits} of {tried} noticed, {hits / tried:.1%} ({low:.1%} to {high:.1%})")


def known(words=()):
    """Try the changes that once left the tests green, each by the module that should notice."""
    copy, green, tried = copied(), 0, 0
    for file, old, new in KNOWN:
        if words and not any(word in file for word in words):
            continue
        tried += 1
        text = (ROOT / "edgekit" / file).read_text(encoding="utf-8")
        assert old in text, (file, old)
        if not noticed(
            copy, file, text.replace(old, new, 1), modules_of(f"{JUDGES[file]} known_changes")
        ):
            green += 1
            line = text[: text.index(old)].count("\n") + 1
            print(f"{file}:{line}: {old!r} -> {new!r}", flush=True)
    print(f"{green} of {tried} leave the tests green")


if __name__ == "__main__":
    # Loaded once for all children; the package itself is loaded in each, from the copy.
    import sympy  # noqa: F401

    if sys.argv[1] == "known":
        known(sys.argv[2:])
    else:
        given = [int(item) for item in sys.argv[2:]]
        sample(sys.argv[1], *(given + [100, 1][len(given) :]))
