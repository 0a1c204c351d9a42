"""Small changes of the code, the tests that reach each, and whether one of them notices.

The lines that each test reaches are kept in a folder that git ignores until the test's module
changes; where a source has changed since, its old and new lines are matched.

A change is judged in a fork of a process that has imported everything and collected all tests: the
changed functions get their new code there (`Hot`). What no test notices so, and what lies outside
of functions, is judged again in a fork that imports the package from a changed copy (`noticed`).
"""

import ast
import difflib
import gc
import hashlib
import importlib
import inspect
import json
import os
import re
import shutil
import signal
import sys
import tempfile
import time
import types
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
KEPT = ROOT / ".mutate"
GUARD_S = 20  # processor seconds of one test, beside ten times what it takes
BUDGET_S = 10  # as traced, of the tests that reach a line: the shortest
WIDE, MOST_WIDE = "regression", 5  # tests asked in any case: stored results reach far
MAX_CALLS = 10  # of one function in one test, while lines are recorded

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


def tree_of(path, number):
    """Syntax tree of a file with one change made."""
    tree = Mutator(number).visit(ast.parse(path.read_text(encoding="utf-8")))
    return ast.fix_missing_locations(tree)


# ---- which tests reach a line --------------------------------------------------------------


class Recorder:
    """Pytest plugin: for every test the lines it reaches, and how long it takes.

    Lines of a fixture that several tests share count for each of them, and so does its time.
    """

    def __init__(self, package):
        self.package, self.tests, self.shared = f"{package}/", {}, {}
        self.lines, self.calls, self.spawned = set(), {}, False
        sys.addaudithook(self._heard)

    def _heard(self, event, _):
        self.spawned |= event in ("subprocess.Popen", "os.fork", "os.posix_spawn", "os.exec")

    def _enter(self, frame, event, _):
        code = frame.f_code
        if event != "call" or not code.co_filename.startswith(self.package):
            return None
        self.calls[code] = self.calls.get(code, 0) + 1
        return self._line if self.calls[code] <= MAX_CALLS else None

    def _line(self, frame, event, _):
        if event == "line":
            self.lines.add((frame.f_code.co_filename[len(self.package) :], frame.f_lineno))
        return self._line

    def pytest_runtest_setup(self):
        self.lines, self.calls, self.spawned = set(), {}, False
        self.began = time.process_time()
        sys.settrace(self._enter)

    @pytest.hookimpl(hookwrapper=True)
    def pytest_fixture_setup(self, fixturedef):
        if fixturedef.scope == "function":
            yield
            return
        before, began = self.lines, time.process_time()
        self.lines, self.calls = set(), {}
        yield
        took = time.process_time() - began
        lines, seconds = self.shared.get(fixturedef, (set(), 0.0))
        self.shared[fixturedef] = (lines | self.lines, seconds + took)
        self.lines, self.began = before, self.began + took

    def pytest_runtest_teardown(self, item):
        sys.settrace(None)
        seconds, lines = time.process_time() - self.began, set(self.lines)
        for definitions in getattr(item, "_fixtureinfo", item).name2fixturedefs.values():
            more, longer = self.shared.get(definitions[-1], (set(), 0.0))
            lines, seconds = lines | more, seconds + longer
        self.tests[item.nodeid] = (round(seconds, 3), self.spawned, sorted(lines))

    def pytest_runtest_logreport(self, report):
        if report.when == "teardown" and report.outcome == "failed":
            self.tests.pop(report.nodeid, None)
        elif report.outcome != "passed":
            self.failed = getattr(self, "failed", set()) | {report.nodeid}


ARGUMENTS = (
    "-q",
    "-n",
    "0",
    "-p",
    "no:cacheprovider",
    "--no-header",
    "-m",
    "not slow",
    "--doctest-ignore-import-errors",
)


def in_child(copy, work, output=os.devnull):
    """What `work` gives in a child process inside the copy; None if it does not come to an end."""
    read, write = os.pipe()
    child = os.fork()
    if not child:
        os.close(read)
        os.chdir(copy)
        os.environ |= {"OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(copy)}
        sys.dont_write_bytecode = True
        for name in [n for n in sys.modules if n.split(".")[0] in ("tests", "edgekit")]:
            del sys.modules[name]
        sys.path[:] = [str(copy), *(p for p in sys.path if Path(p or ".").resolve() != ROOT)]
        with Path(output).open("a", encoding="utf-8") as sink:
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


def digest(text):
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def recorded(copy, modules):
    """Tests that pass, by module of tests: {test: (seconds, spawns processes, {file: lines})}.

    A module's record is kept until the module changes; lines stand as the sources stand now.
    """
    tests = {}
    for module in modules:
        path, kept = copy / module, KEPT / f"{module.replace('/', '.')}.json"
        text = path.read_text("utf-8") if path.is_file() else "doctests"
        record = json.loads(kept.read_text("utf-8")) if kept.exists() else {}
        if record.get("digest") != digest(text):
            record = {"digest": digest(text), **record_module(copy, module)}
            assert record["tests"], f"{module}: no test passes; see {KEPT / 'recording.log'}"
            kept.write_text(json.dumps(record), encoding="utf-8")
        moves = {
            file: moved(copy / "edgekit" / file, was) for file, was in record["sources"].items()
        }
        for test, (seconds, spawns, lines) in record["tests"].items():
            here = {}
            for file, line in lines:
                if (now := moves[file].get(line)) is not None:
                    here.setdefault(file, set()).add(now)
            tests[test] = (seconds, spawns, here)
    return tests


def record_module(copy, module):
    """Record one module of tests, or the doctests of a room, in a child process."""
    began = time.perf_counter()
    KEPT.mkdir(exist_ok=True)

    def work():
        sys.modules["numba"] = None  # as where changes are judged
        recorder = Recorder(copy / "edgekit")
        pytest.main([*ARGUMENTS, module], plugins=[recorder])
        failed = getattr(recorder, "failed", set())
        return {test: found for test, found in recorder.tests.items() if test not in failed}

    tests = in_child(copy, work, KEPT / "recording.log") or {}
    sources = {}
    for file in {file for _, _, lines in tests.values() for file, _ in lines}:
        text = (copy / "edgekit" / file).read_text("utf-8")
        sources[file] = digest(text)
        (KEPT / digest(text)).write_text(text, encoding="utf-8")
    seconds = time.perf_counter() - began
    print(f"recorded {module}: {len(tests)} tests, {seconds:.0f} s", flush=True)
    return {"tests": tests, "sources": sources}


@cache
def moved(path, was):
    """Number of each line of a source as it was -> its number now, where it still stands."""
    old = (KEPT / was).read_text("utf-8").split("\n")
    new = path.read_text("utf-8").split("\n") if path.exists() else []
    blocks = difflib.SequenceMatcher(None, old, new, autojunk=False).get_matching_blocks()
    return {b.a + i + 1: b.b + i + 1 for b in blocks for i in range(b.size)}


class Reach:
    """The tests that reach a line, the shortest first."""

    def __init__(self, package, tests):
        self.tests, self.lines = tests, {}
        for test, (seconds, _, lines) in tests.items():
            for file, numbers in lines.items():
                for line in numbers:
                    self.lines.setdefault(file, {}).setdefault(line, set()).add((seconds, test))
        self.texts = {
            path.relative_to(package).as_posix(): path.read_text("utf-8")
            for path in package.rglob("*.py")
        }

    def of(self, file, line):
        """Tests of a line as a list, cut off where together they take too long."""
        found, seconds, chosen = set(), 0.0, []
        tree = ast.parse(self.texts[file])
        owner = next((n for n in tree.body if n.lineno <= line <= (n.end_lineno or 0)), None)
        function = innermost(tree, line)
        if function is not None:
            low, high = function.body[0].lineno, function.end_lineno
            near = [at for at in (*range(line, line - 7, -1), line + 1) if low <= at <= high]
            at = next((at for at in near if at in self.lines.get(file, {})), None)
            found = set(self.lines[file][at]) if at else set()
            later = self._within(file, low, high) - found
        else:
            later = self._naming(file, owner) if owner is not None else set()
        every = [*sorted(found), *sorted(later)]
        for took, test in every:
            if seconds + took < BUDGET_S or len(chosen) < 3:
                chosen.append(test)
                seconds += took
        wide = [test for _, test in every if WIDE in test and test not in chosen]
        return chosen + wide[:MOST_WIDE]

    def _within(self, file, low, high):
        lines = self.lines.get(file, {})
        return set().union(*(lines.get(at, ()) for at in range(low, high + 1)))

    def _naming(self, file, owner):
        """Tests of a statement outside of functions: those that reach a line with its name."""
        targets = [*getattr(owner, "targets", ()), getattr(owner, "target", None)]
        parts = [part for target in targets if target for part in ast.walk(target)]
        names = [getattr(owner, "name", ""), *(getattr(part, "id", "") for part in parts)]
        found = set()
        if isinstance(owner, ast.ClassDef | ast.FunctionDef):
            found |= self._within(file, owner.lineno, owner.end_lineno)
        if any(names):
            pattern = re.compile(rf"\b({'|'.join(re.escape(name) for name in names if name)})\b")
            for other, text in self.texts.items():
                for number, line in enumerate(text.split("\n"), 1):
                    if pattern.search(line):
                        found |= self.lines.get(other, {}).get(number, set())
                        found |= self._defaulted(other, number)
        return found

    def _defaulted(self, file, line):
        """Tests of the function in whose signature a line stands: defaults are set on import."""
        for node in ast.walk(ast.parse(self.texts[file])):
            if isinstance(node, ast.FunctionDef) and node.lineno <= line < node.body[0].lineno:
                return self._within(file, node.body[0].lineno, node.end_lineno)
        return set()


def innermost(tree, line):
    """The smallest function whose body holds a line."""
    holding = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.body[0].lineno <= line <= node.end_lineno
    ]
    return max(holding, key=lambda node: node.lineno, default=None)


# ---- a change judged -----------------------------------------------------------------------


def functions_of(code):
    """The outermost functions of a module's code: {(name, first line): code}."""
    found = {}
    for item in code.co_consts:
        if isinstance(item, types.CodeType):
            is_function = item.co_flags & inspect.CO_NEWLOCALS and item.co_flags & 2
            if item.co_flags & inspect.CO_OPTIMIZED and is_function:
                found[item.co_qualname, item.co_firstlineno] = item
            else:
                found |= functions_of(item)  # a class
    return found


def put_in_place(path, tree):
    """Give the functions of a loaded module the code of a changed tree; False if none differs."""
    old = functions_of(compile(path.read_text("utf-8"), str(path), "exec"))
    new = functions_of(compile(tree, str(path), "exec"))
    differing = [key for key in old if new.get(key) != old[key]]
    done = 0
    for function in FUNCTIONS.get(str(path), ()):
        code = function.__code__
        if (code.co_qualname, code.co_firstlineno) in differing:
            function.__code__ = new[code.co_qualname, code.co_firstlineno]
            done += 1
    return done > 0


FUNCTIONS = {}


class Hot:
    """Pytest plugin: judges changes in forks of a process that has collected all tests."""

    def __init__(self, copy, jobs, tests, sink):
        self.copy, self.jobs, self.tests, self.sink = copy, jobs, tests, sink
        self.steady, self.unsteady, self.hits = set(), set(), {}

    def pytest_runtestloop(self, session):
        for path in sorted((self.copy / "edgekit").rglob("*.py")):
            name = path.relative_to(self.copy).with_suffix("").as_posix().replace("/", ".")
            if path.parent.name != "compiled":  # wants numba
                importlib.import_module(name.removesuffix(".__init__"))
        for item in gc.get_objects():
            if isinstance(item, types.FunctionType):
                FUNCTIONS.setdefault(item.__code__.co_filename, []).append(item)
        gc.collect()
        gc.freeze()
        self.items = {item.nodeid: item for item in session.items}
        for job in self.jobs:
            began = time.perf_counter()
            by = self.noticing(job)
            with self.sink.open("a", encoding="utf-8") as file:
                said = {key: job[key] for key in job if key != "tests"}
                file.write(json.dumps({**said, "by": by, "s": time.perf_counter() - began}) + "\n")
        return True

    def noticing(self, job):
        """Name of a test that notices a change and passes without it; "" if none does, None if the
        change is to be judged by importing the package.
        """
        while True:
            chosen = [
                self.items[test]
                for test in job["tests"]
                if test in self.items and not self.tests[test][1] and test not in self.unsteady
            ]
            chosen.sort(key=self.worth, reverse=True)
            by = self.judged(job, chosen)
            self.hits[by] = self.hits.get(by, 0) + 1
            if not by or by in self.steady:
                return by
            if self.judged({"change": None, "file": ""}, [self.items[by]]) == "":
                self.steady.add(by)
                return by
            self.unsteady.add(by)

    def worth(self, item):
        """Changes that a test noticed so far, by what it takes: tried first."""
        return self.hits.get(item.nodeid, 0) / (0.1 + self.tests[item.nodeid][0])

    def judged(self, job, chosen):
        """Name of the first test that fails under a change; "" if none, None if not judged."""
        read, write = os.pipe()
        child = os.fork()
        if not child:
            self.in_fork(job, chosen, write)
        os.close(write)
        with os.fdopen(read) as pipe:
            said = pipe.read().split("\n")
        _, status = os.waitpid(child, 0)
        if os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 1:
            return said[-2] if len(said) > 1 else None
        return "" if os.WEXITSTATUS(status) == 0 else None

    def in_fork(self, job, chosen, write):
        sink = os.open(os.devnull, os.O_WRONLY)
        os.dup2(sink, 1)
        os.dup2(sink, 2)
        path = self.copy / "edgekit" / job["file"]
        try:
            if job["change"] is not None and not put_in_place(path, tree_of(path, job["change"])):
                os._exit(3)
        except ValueError:
            os._exit(3)
        from _pytest.runner import runtestprotocol

        for item, following in zip(chosen, [*chosen, None][1:], strict=True):
            os.write(write, f"{item.nodeid}\n".encode())
            limit = GUARD_S + 10 * self.tests[item.nodeid][0]
            signal.setitimer(signal.ITIMER_PROF, limit)  # ends the child
            signal.alarm(int(5 * limit))  # who waits without end takes no processor time
            if any(r.failed for r in runtestprotocol(item, nextitem=following, log=False)):
                os._exit(1)
        os._exit(0)


def hot(copy, modules, jobs, tests, sink):
    """Judge changes in forks; each goes into a file, with the test that notices."""

    def work():
        sys.modules["numba"] = None  # arrays are quicker than compiling
        pytest.main([*ARGUMENTS, *modules], plugins=[Hot(copy, jobs, tests, sink)])
        return True

    return in_child(copy, work, KEPT / "hot.log")


def noticed(copy, file, text, tests):
    """Whether one of the tests fails once a file holds another text."""
    path = copy / "edgekit" / file
    before = path.read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")

    def work():
        signal.setitimer(signal.ITIMER_PROF, 600)
        return int(pytest.main([*ARGUMENTS, "-x", *tests]))

    try:
        return in_child(copy, work) != 0
    finally:
        path.write_text(before, encoding="utf-8")


def copied():
    """A copy of the repository to change."""
    copy = Path(tempfile.mkdtemp()) / "copy"
    skipped = shutil.ignore_patterns(".git", "__pycache__", ".venv", ".mutate", "build")
    shutil.copytree(ROOT, copy, ignore=skipped)
    return copy
