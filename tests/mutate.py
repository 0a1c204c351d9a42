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
            "finish bad_input finish_bad_input bad_input_finish_and_strength records "
            "known_changes_contact known_changes_holding known_changes_finish regression"
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
            "compare sweep sensitivity face_or_sides conformance results_version results "
            "bad_input records regression"
        ),
    ),
    "clinic": (
        ("clinic",),
        (
            "log history forecast growth update model_check survival budget bench_plan settings "
            "setting_sheet tray log_entry own_clinic weighing bad_input records hostile_text "
            "known_changes_clinic known_changes_bench known_changes_forecast known_changes_log "
            "known_changes_sheet known_changes_weighing regression"
        ),
    ),
}
# The compiled engine, which takes a minute to compile for each change: a test asks that it agrees
# with the arrays in every session.
LEFT_OUT = ("compiled",)
# (File, part of the line, the changes of it meant ("" for all), why they alter no result.)
EQUIVALENT = (
    ("", ".reshape(-1, ", "1", "numpy takes any negative size for the one to be found"),
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
    ("", "difflib.get_close_matches(", "1", "of the words found alike the first is named"),
    (
        "clinic/bench/plan.py",
        '"tolerance_deg", tolerance_deg, LEAST_DEG, 45,',
        "45",
        "the windows of stations refuse 45 degrees in the same words",
    ),
    (
        "clinic/bench/plan.py",
        "most_shared = max(",
        "0",
        "edges without a run stand together whatever they are said to share",
    ),
    (
        "clinic/bench/requirements.py",
        "half = np.where(np.abs(half) < ROUNDING_DEG, 0.0, half)",
        "Lt",
        "half a window of just the rounding is as good as none",
    ),
    (
        "clinic/bench/requirements.py",
        "middle + half * np.array([-1.0, 1.0])",
        "Mult",
        "to divide by 1 is to multiply by it",
    ),
    (
        "clinic/sheet/drawing.py",
        "* np.sign(end - start) + [0.0, 0.9]",
        "Mult",
        "to divide by a sign is to multiply by it",
    ),
    (
        "clinic/sheet/content.py",
        'return f"riser {riser_mm:.1f} mm" if riser_mm > 0 else',
        "Gt",
        "a riser of nothing is told before",
    ),
    (
        "clinic/sheet/content.py",
        "elevation = setting_words(float(step.elevation_deg[0]))",
        "0",
        "a holder keeps one elevation along its step",
    ),
    (
        "clinic/sheet/page.py",
        "across = width - PICTURES_MM if steps < DRAWN_MM else width",
        "Lt",
        "no count of steps and lines is just as high as the drawings",
    ),
    (
        "clinic/weighing/means.py",
        "high = high if excess(high) <= 0 else 2 * high",
        "2",
        "a wider bracket holds the same root",
    ),
    (
        "clinic/weighing/means.py",
        "high = high if excess(high) <= 0 else 2 * high",
        "LtE",
        "where nothing is left the bracket's end is the root",
    ),
    ("clinic/weighing/means.py", "MOST_DOF = 1e9", "", "a normal law to the last digit shown"),
    (
        "clinic/weighing/weighings.py",
        '[row | {"control_mg": 0.0} for row in rows]',
        "0.0",
        "what is taken off every reading goes out of every difference",
    ),
    (
        "clinic/weighing/weighings.py",
        "return 0.0, 0, 0.0",
        "0.0",
        "a table without a repeated weighing is refused, and these with it",
    ),
    (
        "clinic/forecasting/growth.py",
        "safe = np.maximum(size, 1)",
        "1",
        "edges of fewer than four readings are left out",
    ),
    (
        "clinic/forecasting/growth.py",
        "np.where(scale > 0, scale, 1.0)",
        "1.0",
        "of readings at one count nothing is left to scale",
    ),
    (
        "clinic/forecasting/growth.py",
        "sxx = np.where(scale > 0, total(x * x), 1.0)",
        "1.0",
        "what it divides is 0 there",
    ),
    *(
        (
            "clinic/forecasting/growth.py",
            "bend = np.where(can, total(q * z)",
            number,
            "edges that cannot say are left out",
        )
        for number in ("1.0", "0.0")
    ),
    (
        "clinic/forecasting/growth.py",
        "can = (size >= 4) & (sqq > 1e-6 * safe)",
        "Gt",
        "the bound tells readings that say something from rounding",
    ),
    (
        "clinic/forecasting/growth.py",
        "np.where(can, size - 3, -1)",
        "1",
        "any number below 0 marks an edge that cannot say",
    ),
    (
        "clinic/forecasting/pooling.py",
        "own: Any = np.where(nodes.xx > 0, nodes.xy / nodes.xx, 0.0)",
        "0.0",
        "a group that shows no loss has no weight",
    ),
    (
        "clinic/forecasting/survival.py",
        "brentq(lost, -7.0, high, xtol=1e-13)",
        "7.0",
        "a wider bracket holds the same root",
    ),
    (
        "clinic/forecasting/survival.py",
        "high = next(end for end in (9.0, 40.0)",
        "Gt",
        "a root at the bracket's end is found there as well",
    ),
    (
        "clinic/forecasting/survival.py",
        "high = next(end for end in (9.0, 40.0)",
        "9.0",
        "a wider bracket holds the same root",
    ),
    (
        "clinic/forecasting/survival.py",
        "high = next(end for end in (9.0, 40.0)",
        "40.0",
        "a wider bracket holds the same root",
    ),
    (
        "clinic/forecasting/update.py",
        "x = np.where(logs, np.log(np.where(logs, x, 1.0)), x)",
        "1.0",
        "what stands in for inputs on a linear scale is not used",
    ),
    (
        "clinic/forecasting/update.py",
        "pull=1 - left / np.where(variance > 0, variance, 1.0)",
        "1.0",
        "of an input that stays nothing is left to divide",
    ),
    *(
        (
            "clinic/cost/budget.py",
            f"= (share < (1 {sign} level) / 2 - slack)",
            "Lt",
            "a share that misses its target by just the slack",
        )
        for sign in "-+"
    ),
    (
        "clinic/log/log.py",
        'remark = row < header.row and "".join(record[:1])',
        "Lt",
        "the header itself is passed over before",
    ),
    (
        "clinic/forecasting/crossing_time.py",
        "np.where(rate > 0, margin / rate, np.inf)",
        "Gt",
        "a division by 0 is infinite as well",
    ),
    (
        "clinic/forecasting/crossing_time.py",
        "low_root: Any = np.where(bounded | (smaller > 0)",
        "Gt",
        "a root of nothing asks for c = 0, and then the margin is not sure now",
    ),
    *(
        (
            "clinic/forecasting/forecast.py",
            "np.diff(edge, prepend=-1)",
            change,
            "edges are counted from 0",
        )
        for change in ("USub", "1")
    ),
    *(
        (
            "clinic/forecasting/growth.py",
            "can = freedom >= 0",
            change,
            "freedom is -1, or 1 and more",
        )
        for change in ("0", "GtE")
    ),
    (
        "clinic/forecasting/growth.py",
        "if bend.sum() > 0 else",
        "Gt",
        "bends that sum to nothing are straight or bend both ways",
    ),
    (
        "clinic/forecasting/kalman.py",
        "step = np.diff(count[order], prepend=0.0)",
        "0.0",
        "the first step of every edge is set in the next line",
    ),
    *(
        ("clinic/forecasting/kalman.py", part, part[10], "a row more that nothing is taken from")
        for part in ("np.zeros((2, edges, k))", "np.zeros((2, data.gro", "np.zeros((3, edges, k))")
    ),
    (
        "clinic/forecasting/provenance.py",
        "or frames[:1], ignore_index=True)",
        "1",
        "one empty table or two",
    ),
    (
        "clinic/bench/settings.py",
        "if not (len(early) and len(late)):",
        "And",
        "saves time: with one stretch empty no shared setting saves a change",
    ),
    (
        "clinic/bench/steps.py",
        "* (arc[1] - arc[0])",
        "Sub",
        "stations begin at 0",
    ),
    (
        "edge_finish/tooth_wear.py",
        "lowered = wedge.apex * radius",
        "",
        "all points begin with one radius, and only differences of height are used",
    ),
    (
        "edge_finish/tooth_wear.py",
        "-np.sort(-heights) * wedge.height + lowered",
        "Add",
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
        "_max_ridge(edge, arc, here, evenly_placed(edge, most)) >= 2 * limit",
        "",
        "saves time: where the most leave twice the limit no count keeps it, tried or not",
    ),
    (
        "contact/facets.py",
        "hopeless = most > _IRREGULAR and (",
        "Gt",
        "saves time: a count found is the same, whether or not larger ones were looked at first",
    ),
    ("contact/facets.py", "_IRREGULAR = 200", "200", "saves time, as above"),
    ("contact/facets.py", "order=0", "0", "derivatives of the frame are not read there"),
    ("contact/facets.py", "order=1", "1", "second derivatives of the frame are not read there"),
    ("contact/holder.py", "order=0", "0", "derivatives of the frame are not read there"),
    ("edge_finish/report.py", "order=0", "0", "derivatives of the frame are not read there"),
    (
        "contact/facets.py",
        "before, after = self.arc_mm <= place, self.arc_mm >= place",
        "LtE GtE",
        "at its own placement a facet is not overhung, and nothing is the least",
    ),
    (
        "contact/facets.py",
        'getattr(placements, "ndim", 1) == 0',
        "1",
        "of what has a length but no ndim, any number but 0 says so",
    ),
    ("contact/facets.py", "np.where(ahead, facing, 1.0)", "1.0", "stands for what is not read"),
    (
        "contact/facets.py",
        "middle = (low + high + 1) // 2",
        "1",
        "the next whole number up still lies above the one end and not above the other",
    ),
    ("contact/facets.py", "last = below.shape[0] - 1", "0", "as many planes as stations"),
    (
        "contact/facets.py",
        "low, high = start + bool(planes), last",
        "Add",
        "the next plane along always serves, so no lower one is kept",
    ),
    ("contact/facets.py", "_WINDOW = 40", "40", "half of it, rounded down, is the same"),
    (
        "contact/facets.py",
        "np.cumsum((root[1:] + root[:-1]) / 2 * np.diff(arc))",
        "2 Div Mult",
        "stations are even, and the measure is divided by its own total",
    ),
    ("contact/orientation.py", "+ np.zeros(len(arc))", "Add", "0 added or taken away"),
    ("edge_finish/report.py", "+ np.zeros(len(arc))", "Add", "0 added or taken away"),
    ("contact/orientation.py", "np.where(turns, size, 1.0)", "1.0", "stands for what is not read"),
    ("contact/orientation.py", "np.where(folds, fold, 1.0)", "1.0", "stands for what is not read"),
    ("contact/orientation.py", "np.where(bent, hollow, 1.0)", "1.0", "stands for what is not read"),
    ("contact/holder.py", "np.where(alive, size, 1.0)", "1.0", "stands for what is not read"),
    (
        "contact/holder.py",
        "side = side * np.where(vec.dot(n, side) < 0, -1.0, 1.0)",
        "Mult",
        "divided by 1 and −1 it is the same",
    ),
    ("contact/holder.py", "_HALVINGS = 60", "60", "π/2⁶⁰ is below the rounding of any angle"),
    (
        "contact/holder.py",
        "lowest = from_mm if alpha >= 0 else last",
        "GtE",
        "a level axis is as high at either end",
    ),
    (
        "contact/apex.py",
        "arc = np.clip(arc, 0.0, np.pi - angle)",
        "Sub",
        "a line that meets the face inward of the corner leaves no more than the whole arc",
    ),
    (
        "contact/apex.py",
        "np.where(arc > 0, corner, 0.0)",
        "Gt",
        "of no arc the corner's area is 0 as well",
    ),
    (
        "edge_finish/texture.py",
        "reach = np.where(crossing, np.abs(a) + np.abs(b), 1.0)",
        "1.0",
        "stands for what is not read",
    ),
    (
        "edge_finish/texture.py",
        "slack = 1e-9 * (x[-1] - x[0])",
        "0 1 USub",
        "any slack far below a step of the points finds the same cuts",
    ),
    ("edge_finish/material_curve.py", "np.full(2, low[0])", "0", "all heights are one there"),
    (
        "edge_finish/texture.py",
        "largest = float(np.abs(z).max())",
        "max",
        "where all heights are within rounding of one level, the least is the largest",
    ),
    (
        "edge_finish/texture.py",
        "z = np.where(np.abs(z).max() > _ROUNDING * largest, z, 0.0)",
        "Gt",
        "a profile of zeros stays one",
    ),
    (
        "edge_finish/material_curve.py",
        "weight = np.diff(x_um) / (x_um[-1] - x_um[0])",
        "0 1 USub Div",
        "the curve is divided by its own total at the end",
    ),
    (
        "edge_finish/material_curve.py",
        "1 - np.maximum.accumulate(below) / below.max()",
        "Div",
        "the weights add up to 1, to rounding",
    ),
    (
        "edge_finish/material_curve.py",
        "if start >= level[-1]:",
        "GtE",
        "from the highest level on the sum has no terms",
    ),
    (
        "edge_finish/material_curve.py",
        "keep = level > start",
        "Gt",
        "a level at the start adds a strip of no width",
    ),
    (
        "edge_finish/profile_filter.py",
        "size = 1 << (cell.size + weight.size - 1).bit_length()",
        "1 Sub",
        "any size that holds the whole convolution gives it",
    ),
    (
        "edge_finish/material_curve.py",
        "reach = round(_SECANT_SHARE * (_SECANT_POINTS - 1))",
        "1",
        "it is rounded to the same number of steps",
    ),
    (
        "edge_finish/edge_profile.py",
        "part = spectrum[kept][: size // 2 + 1]",
        "1",
        "the inverse transform reads no more than half of its points and one",
    ),
    (
        "edge_finish/tooth_wear.py",
        "if reached[-1] <= wanted:",
        "LtE",
        "what all bear just so they bear either way",
    ),
    (
        "edge_finish/tooth_wear.py",
        "float((share * radius).sum()) / loaded if loaded",
        "Div",
        "shares of a load add up to 1",
    ),
    (
        "edge_finish/profile_filter.py",
        "weight /= weight.sum()",
        "Div",
        "the mean is divided by the weights that lie over the profile",
    ),
    (
        "edge_finish/report.py",
        "TENTH * np.array([1.0, -1.0])",
        "Mult",
        "divided by 1 and −1 it is the same",
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
    ("edge_finish/material_curve.py", "(x_um[-1] - x_um[0])", "(x_um[-1] + x_um[0])"),
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
    "edge_finish/material_curve.py": "known_changes_finish",
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
        str(path).endswith(file) and part in text and (not kind or what in kind.split())
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
