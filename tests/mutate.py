"""Small changes of the code, one at a time: does a test notice? Outside CI, for it takes hours.

``python -m tests.mutate known``: the changes that once left every test green.
``python -m tests.mutate GROUP [SAMPLES] [SEED]``: a random sample of a group of rooms.
``python -m tests.mutate lines GROUP``: only record which lines the tests reach.

A change is judged by the tests that reach its line, the shortest first (`tests.mutants`). What no
test notices is printed, and so is the share noticed with its 90 % interval (Jeffreys). Changes
that alter no result are listed in `EQUIVALENT` with the reason, and do not count. What has been
judged is kept until a source or a test changes, so that a sample that was stopped goes on.
"""

import ast
import importlib
import json
import random
import sys
import time

from tests.mutants import (
    KEPT,
    ROOT,
    Reach,
    changes,
    copied,
    digest,
    hot,
    noticed,
    recorded,
    tree_of,
)

EVERY = "known_changes theory regression_results regression_words sizes"
GROUPS = {
    "geometry": (
        ("geometry", "digitising"),
        (
            "curves orientation trace sections_and_blades facets holder recession_field "
            "records checks bad_files bad_input pictures_records pictures_one_view pictures_trace "
            "pictures_outline pictures_loss pictures_reading pictures_board pictures_spoiled "
            "known_changes_geometry hostile_text regression"
        ),
    ),
    "contact": (
        ("contact", "edge_finish"),
        (
            "orientation holder facets intervals texture edge_line tooth_wear cutting hardness "
            "finish lay abrasive settings bench_plan bad_input finish_bad_input records "
            "known_changes_contact bad_input_finish_and_strength regression"
        ),
    ),
    "wear": (
        ("method", "grinding", "bending", "life"),
        (
            "strokes recession_field worn_blade dulling strength section_properties lay wire_edge "
            "abrasive bad_input_wear bad_input_finish_and_strength conformance records "
            "known_changes_wear regression"
        ),
    ),
    "study": (
        ("study",),
        (
            "compare sweep sensitivity face_or_sides ignorance conformance results_version results "
            "cite archive sweep_figures bad_input records known_changes_study regression"
        ),
    ),
    "clinic": (
        ("clinic",),
        (
            "log history forecast growth update model_check survival budget bench_plan settings "
            "setting_sheet tray bad_input records hostile_text known_changes_clinic regression"
        ),
    ),
}
# The compiled engine, which takes a minute to compile for each change: a test asks that it agrees
# with the arrays in every session.
LEFT_OUT = ("compiled",)
# (File, part of the line, the changes of it meant ("" for all), why they alter no result.)
EQUIVALENT = (
    ("", ".reshape(-1, ", "1", "numpy takes any negative size for the one to be found"),
    ("study/sensitivity.py", ".reshape(2, len(twice), -1)", "1", "the same"),
    (
        "edge_finish/texture.py",
        "grid = np.unique(np.concatenate([x[(x > cuts[0]) & (x < cuts[-1])], cuts]))",
        "Gt",
        "a point that is a cut counts once",
    ),
    (
        "edge_finish/texture.py",
        "grid = np.unique(np.concatenate([x[(x > cuts[0]) & (x < cuts[-1])], cuts]))",
        "Lt",
        "a point that is a cut counts once",
    ),
    (
        "edge_finish/material_curve.py",
        "return 0.0",
        "0.0",
        "above the highest level no length is left, and a triangle without a base has no height",
    ),
    (
        "clinic/bench/requirements.py",
        "best, back = single, [np.full(len(points), -1)]",
        "",
        "the walk back ends at the first entry, which is not read",
    ),
    ("", "__all__", "", "names shown, not results"),
    (
        "edge_finish/tooth_wear.py",
        "* wedge.height + wedge.apex * radius",
        "",
        "all points begin with one radius, and only differences of height are used",
    ),
    (
        "bending/beam.py",
        "if wears and any(wear.drop_mm.any()",
        "And",
        "of no wear, any is false",
    ),
    (
        "method/lay.py",
        "ahead = a - (n @ a)[:, None] * n",
        "Sub",
        "a part along n is square to both directions that the angle is taken from",
    ),
    (
        "clinic/forecasting/crossing_time.py",
        "& ~(larger > 0)",
        "Gt",
        "where a margin is sure now, c > 0, and a root of nothing asks for c = 0",
    ),
    (
        "clinic/forecasting/update.py",
        "_from_log(np.where(logs, mean, 0.0), np.where(logs, sd, 0.0))",
        "0.0",
        "what stands in for inputs on a linear scale is not used",
    ),
    (
        "contact/facets.py",
        "for k in range(1, most + 1) if least < 2 * limit else ()",
        "Mult",
        "saves time: where the most leave twice the limit no count keeps it, tried or not",
    ),
    (
        "study/conformance.py",
        "edge.frame(arc, order=0).outward.value",
        "0",
        "derivatives of the frame are not read",
    ),
    (
        "study/conformance.py",
        "/ UM_PER_MM + np.zeros_like(inset_mm)",
        "Add",
        "zeros that give the shape",
    ),
    ("study/chunks/tables.py", "_NO_ROW = -1", "1", "rows count from 0; any other number is none"),
    (
        "study/chunks/tables.py",
        "np.diff(good.sessions, prepend=np.inf) <= 0",
        "0",
        "lines of one piece that are merged one after the other give the same sums",
    ),
    ("study/chunks/window.py", "self._last = 0", "0", "not read before a task is out"),
    (
        "study/manifest.py",
        'place.split(".", maxsplit=1)[0]',
        "1",
        "only what stands before the first dot is read",
    ),
    ("study/sweep.py", "if again > 0:", "Gt", "where none are lived again none has an error"),
    ("study/case.py", "@lru_cache(maxsize=16)", "16", "a blade made again is the same blade"),
    (
        "study/face_or_sides.py",
        "below = np.flatnonzero(left <= limit)",
        "LtE",
        "straight between sessions: where one meets the limit, both sides give its number",
    ),
)

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


def equivalent(path, line, what):
    """Whether a change is listed as one that alters no result."""
    text = path.read_text(encoding="utf-8").split("\n")[line - 1]
    return any(
        str(path).endswith(file) and part in text and kind in ("", what)
        for file, part, kind, _ in EQUIVALENT
    )


def modules_of(group):
    """What judges a group: modules of tests, and the doctests of its rooms."""
    rooms, words = GROUPS[group]
    tests = [f"tests/test_{word}.py" for word in (*words.split(), *EVERY.split())]
    return [*(t for t in tests if (ROOT / t).exists()), *(f"edgekit/{room}" for room in rooms)]


def interval(hits, number):
    """90 % interval of a share (Jeffreys)."""
    from scipy.stats import beta

    return beta.ppf([0.05, 0.95], hits + 0.5, number - hits + 0.5)


def drawn(group, number, seed, package, reach):
    """A random sample of the changes of a group: file, line, what, and the tests to ask."""
    files = [p for room in GROUPS[group][0] for p in sorted((package / room).rglob("*.py"))]
    files = [path for path in files if path.parent.name not in LEFT_OUT]
    every = [(path, i, *c) for path in files for i, c in enumerate(changes(path))]
    chance, jobs = random.Random(f"{group} {seed}"), []
    for path, i, line, what in chance.sample(every, len(every)):
        if len(jobs) == number:
            break
        if not equivalent(path, line, what):
            file = path.relative_to(package).as_posix()
            jobs.append({"file": file, "change": i, "line": line, "what": what})
    return [{**job, "tests": reach.of(job["file"], job["line"])} for job in jobs]


def state(copy, modules):
    """Digest of all sources, and of the tests that judge."""
    texts = [*sorted((copy / "edgekit").rglob("*.py")), *(copy / m for m in modules)]
    return digest("".join(p.read_text("utf-8") for p in texts if p.suffix == ".py"))


def kept(path):
    """What has been judged of a sample: {(file, change): test that notices}."""
    lines = path.read_text("utf-8").splitlines() if path.exists() else []
    return {(job["file"], job["change"]): job["by"] for job in map(json.loads, lines)}


def sample(group, number, seed):
    """Print the survivors among random changes of a group, and the share noticed."""
    modules, copy, began = modules_of(group), copied(), time.perf_counter()
    tests = recorded(copy, modules)
    package = copy / "edgekit"
    jobs = drawn(group, number, seed, package, Reach(package, tests))
    path = KEPT / f"{group}-{seed}-{state(copy, modules)}.jsonl"
    by = kept(path)
    if left := [job for job in jobs if (job["file"], job["change"]) not in by]:
        hot(copy, modules, left, tests, path)
    print(f"judged in forks: {time.perf_counter() - began:.0f} s", flush=True)
    hits = 0
    for job in jobs:
        file, change, line = job["file"], job["change"], job["line"]
        who = kept(path).get((file, change))
        asked = [test for test in job["tests"] if who is None or tests[test][1]]
        if not who and asked:
            text = ast.unparse(tree_of(package / file, change))
            found = noticed(copy, file, text, asked)
            who = "a test of the changed copy" if found else ""
            with path.open("a", encoding="utf-8") as sink:
                sink.write(json.dumps({"file": file, "change": change, "by": who}) + "\n")
        hits += bool(who)
        if not who:
            text = (package / file).read_text("utf-8").split("\n")[line - 1].strip()
            print(
                f"{file}:{line}: {job['what']} in {text!r} ({len(job['tests'])} tests)", flush=True
            )
    low, high = interval(hits, len(jobs))
    score = f"{hits / len(jobs):.1%} ({low:.1%} to {high:.1%})"
    print(f"{group}: {hits} of {len(jobs)} noticed, {score}, {time.perf_counter() - began:.0f} s")


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
            copy,
            file,
            text.replace(old, new, 1),
            [f"tests/test_{JUDGES[file]}.py", "tests/test_known_changes.py"],
        ):
            green += 1
            line = text[: text.index(old)].count("\n") + 1
            print(f"{file}:{line}: {old!r} -> {new!r}", flush=True)
    print(f"{green} of {tried} leave the tests green")


if __name__ == "__main__":
    # Loaded once for all children; the package itself is loaded in each, from the copy.
    for name in ("matplotlib.pyplot", "pandas", "scipy.optimize", "scipy.stats", "sympy"):
        importlib.import_module(name)

    if sys.argv[1] == "known":
        known(sys.argv[2:])
    elif sys.argv[1] == "lines":
        recorded(copied(), modules_of(sys.argv[2]))
    else:
        given = [int(item) for item in sys.argv[2:]]
        sample(sys.argv[1], *(given + [100, 1][len(given) :]))
