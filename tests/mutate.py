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
            "known_changes_geometry hostile_text profiles_exact targets_exact outlines_exact "
            "pictures_limits geometry_limits digitising_limits regression"
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
            "abrasive bad_input_wear bad_input_finish_and_strength conformance records life use "
            "session kernel known_changes_wear known_changes_method known_changes_grinding "
            "known_changes_rolling known_changes_life regression"
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
            "setting_sheet by_hand tray log_entry own_clinic weighing bad_input records "
            "hostile_text known_changes_clinic known_changes_bench known_changes_forecast "
            "known_changes_log known_changes_sheet known_changes_sheet_words "
            "known_changes_weighing regression"
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
        "clinic/sheet/blades.py",
        "[-0.11, 0.07]]) * np.sign(end - begin)",
        "Mult",
        "to divide by a sign is to multiply by it",
    ),
    *(
        (f"clinic/{file}.py", "order=0)", "0", "derivatives of the frame are not read")
        for file in ("bench/by_hand", "sheet/blades", "sheet/places")
    ),
    *(
        (f"clinic/sheet/{file}.py", part, "0", "an arc of no length has its one point twice")
        for file, part in (
            ("cut_outs", "arc(1.0, 90 - angle_deg, 90 - angle_deg)[0]"),
            ("cut_outs", "arc(1.0, 90 - angle_deg / 2, 90 - angle_deg / 2)[0]"),
            ("blades", "[arc(r, elevation - 90, elevation - 90)[0]"),
            ("blades", "arc(1.25 * reach, elevation / 2 - 90, elevation / 2 - 90)[0]"),
            ("blades", "flank = arc(1.0, angle - 90, angle - 90)[0]"),
            ("blades", "out = arc(1.0, HOUR_DEG * hour, HOUR_DEG * hour)[0]"),
        )
    ),
    ("clinic/sheet/blades.py", "_outline(section) * [-1.0, 1.0]", "Mult", "to divide by 1 or -1"),
    ("clinic/sheet/cut_outs.py", "shape.points * mirror", "Mult", "to divide by 1 or -1"),
    ("clinic/sheet/blades.py", "[:, 1] < tip[1] + size]", "Lt", "no point lies just at that end"),
    (
        "clinic/sheet/set_up.py",
        "len(plan.settings) else 90.0",
        "90.0",
        "from 90° on no dial is low",
    ),
    (
        "clinic/sheet/how_to.py",
        'turn = 1 if step.requirements.name == "left"',
        "Eq",
        "two rows of hours differ as much when both are mirrored",
    ),
    (
        "clinic/sheet/cut_outs.py",
        "if tick % FIVES == 0:",
        "0",
        "one of each twelve marks gets the number, which stands by its hour",
    ),
    ("clinic/sheet/set_up.py", "if riser_mm > 0:", "Gt", "plates of nothing are told before"),
    (
        "clinic/sheet/content.py",
        "angle = float(step.elevation_deg[0])",
        "0",
        "a holder keeps one elevation along its step",
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
        "np.where((shown > 1) & (scale > 0), moment, 0.0), smallest)",
        "Gt",
        "of one group the moment is nothing but rounding, below the smallest",
    ),
    (
        "clinic/weighing/ways.py",
        "enough = _power(difference, sds, middle, level) >= power",
        "GtE",
        "no count meets a power to the last bit",
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
    ("", "order=0).position", "0", "derivatives that are not asked for: the position is the same"),
    (
        "digitising/pictures/profiles.py",
        "_TILE, _MARGIN = 128, 20",
        "",
        "a spline's memory is 1e-11 within 20 pixels, whatever the tile: only time",
    ),
    (
        "digitising/pictures/profiles.py",
        "columns = light.shape[1] // _TILE + 1",
        "1",
        "numbers of tiles need only differ",
    ),
    (
        "digitising/pictures/profiles.py",
        "key = tile[:, 1] * columns + tile[:, 0]",
        "Add",
        "numbers of tiles need only differ",
    ),
    (
        "digitising/pictures/profiles.py",
        "key = tile[:, 1] * columns + tile[:, 0]",
        "Mult",
        "numbers of tiles need only differ",
    ),
    (
        "digitising/pictures/profiles.py",
        "tile = np.clip(flat, 0, np.array(light.shape[::-1]) - 1)",
        "0",
        "a tile's margin holds the pixels of the rim: either gives the same light",
    ),
    (
        "digitising/pictures/profiles.py",
        "reach = min(len(line) - 1, int(4 * points) + 1)",
        "4",
        "scipy's filter ends at four standard deviations: more ground beyond it is not read",
    ),
    (
        "digitising/pictures/profiles.py",
        "keep = np.concatenate([[True], np.diff(arc) > 0])",
        "Gt",
        "a repeated point has one place: interpolation between its copies is never asked for",
    ),
    (
        "digitising/pictures/registering.py",
        "if turn < PAIRED:",
        "Lt",
        "one round of pairing more, after the fit has come to rest",
    ),
    (
        "digitising/pictures/registering.py",
        "PAIRED = 20",
        "20",
        "one round of pairing more, after the fit has come to rest",
    ),
    (
        "geometry/blade.py",
        "frame = edge.frame(arc_mm, order=0)",
        "0",
        "derivatives that are not asked for: the values are the same",
    ),
    (
        "digitising/pictures/targets/refining.py",
        "size = np.sqrt(np.maximum(np.diagonal(normal, axis1=1, axis2=2), 1e-30))",
        "1e-30",
        "a scale that is taken out of the solution again: only a ridge of 1e-9 sees it",
    ),
    (
        "geometry/patterns.py",
        "axis = turn @ np.array([0.0, 0.0, -1.0])",
        "1.0",
        "an edge takes the direction alone",
    ),
    (
        "digitising/pictures/targets/calibrating.py",
        "if _turn(corners) > 0:",
        "0",
        "an area of a board in square pixels: thousands, whichever its sign",
    ),
    (
        "digitising/smoothing.py",
        "if np.linalg.det(axes) < 0:",
        "Lt",
        "of axes square to one another it is 1 or -1",
    ),
    (
        "digitising/pictures/targets/calibrating.py",
        "a, b = corners[0, -1] - corners[0, 0], corners[-1, 0] - corners[0, 0]",
        "0",
        "only the sign is read: any three such corners of a board turn alike",
    ),
    (
        "digitising/pictures/targets/corners.py",
        "- 3 * half - 8, 0)",
        "3 8",
        "a spline's memory is 1e-5 within 8 pixels: more ground about them changes no saddle",
    ),
    (
        "digitising/pictures/targets/corners.py",
        "+ 3 * half + 9",
        "3 9",
        "a spline's memory is 1e-5 within 8 pixels: more ground about them changes no saddle",
    ),
    (
        "digitising/pictures/targets/plane.py",
        "step[k] = 1e-6 * max(abs(numbers[k]), 1e-3 if k in (6, 7, 8) else 1.0)",
        "0.001 6 7 8 1.0",
        "the step of a central difference: the slope is the same to ten digits",
    ),
    (
        "digitising/pictures/targets/corners.py",
        "np.minimum(1.0, half / 2 / np.maximum(size, 1e-12))",
        "1e-12",
        "half a window is a pixel or more, and a shorter step is not cut",
    ),
    (
        "digitising/pictures/targets/refining.py",
        "weight, offset = share, windows.px - windows.px.mean(axis=1, keepdims=True)",
        "Sub",
        "the model's level takes what all offsets share",
    ),
    (
        "digitising/pictures/targets/corners.py",
        "fit = distance < _NEAR * square",
        "Lt",
        "a distance that equals three tenths of a square to its last bit",
    ),
    (
        "digitising/pictures/targets/refining.py",
        "+ 1e-9 * np.eye(7)",
        "Add",
        "a ridge of 1e-9 of either sign",
    ),
    (
        "digitising/pictures/outlines/silhouette.py",
        "low = np.clip(np.floor(polygon.min(axis=0))",
        "floor",
        "a box about the polygon's pixels may be a pixel larger",
    ),
    (
        "digitising/pictures/outlines/silhouette.py",
        "high = np.clip(np.ceil(polygon.max(axis=0)).astype(int) + 1",
        "ceil 1",
        "a box about the polygon's pixels may be a pixel larger",
    ),
    (
        "digitising/smoothing.py",
        "along = np.linspace(knots[0], knots[-1], len(stiffness))",
        "0 1",
        "the outermost knots are at one place",
    ),
    (
        "digitising/pictures/loss.py",
        "usable = np.asarray(seen & (sd < WORST_SD_UM))",
        "Lt",
        "a standard deviation that equals 12 to its last bit",
    ),
    (
        "digitising/pictures/profiles.py",
        "met=met & (slope > 0)",
        "Gt",
        "a cubic that is flat to its last bit where it crosses",
    ),
    (
        "digitising/pictures/profiles.py",
        "between = np.where(both > 0,",
        "Gt",
        "where all are of one kind the two masses are one but for rounding",
    ),
    (
        "digitising/pictures/profiles.py",
        "below = int(np.argmax(mtf < 0.5))",
        "Lt",
        "a transfer that equals a half to its last bit: it is interpolated to the same frequency",
    ),
    (
        "geometry/path.py",
        "_MIN_PANELS = 256",
        "256",
        "a panel more changes an arc length by rounding alone",
    ),
    (
        "digitising/smoothing.py",
        "if axes[2] @ outward < 0:",
        "Lt",
        "a face square to the direction stated is refused",
    ),
    (
        "geometry/edge.py",
        "middle = path.at(np.array(path.length_mm / 2), order=0)",
        "0",
        "derivatives that are not asked for: the values are the same",
    ),
    *(
        (
            "digitising/pictures/targets/corners.py",
            "if len(spots) < 4:",
            change,
            "a board has nine inner corners or more, of which four fifths are above five",
        )
        for change in ("Lt", "4")
    ),
    (
        "digitising/pictures/outlines/silhouette.py",
        "normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)",
        "1e-09",
        "four steps of a pixel are longer than one but at a cusp, which turns no mean",
    ),
    (
        "geometry/edge.py",
        "side=self.side * (1 if np.linalg.det(turn) > 0 else -1)",
        "Gt",
        "of an orthogonal matrix it is 1 or -1",
    ),
    (
        "digitising/pictures/targets/plane.py",
        "flat = bent * np.where(size > 0, straight / np.where(size > 0, size, 1.0), 1.0)",
        "1.0",
        "where the size is nothing, so is what it multiplies",
    ),
    (
        "digitising/pictures/outlines/parts.py",
        "if not arc[3] < wanted < arc[-4]:",
        "Lt",
        "a measured length that equals another to its last bit",
    ),
    (
        "digitising/pictures/outlines/silhouette.py",
        "chosen, notes = _choose(lines, smooth < level)",
        "Lt",
        "a blurred pixel that equals the mean of two medians to its last bit",
    ),
    (
        "digitising/pictures/profiles.py",
        "np.where(bend == 0, 1, bend)",
        "1",
        "where the bend is nothing the shift is nothing",
    ),
    (
        "digitising/pictures/targets/plane.py",
        "_ROUNDS = 30",
        "30",
        "a fit that comes to rest does so long before",
    ),
    (
        "digitising/pictures/registering.py",
        "_ROUNDS = 60",
        "60",
        "a fit that comes to rest does so long before",
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
    ("", "@lru_cache(maxsize=", "", "how much is kept saves time alone"),
    ("method/guide.py", "order=0)", "0", "derivatives that nobody reads"),
    ("method/lay.py", "order=0)", "0", "derivatives that nobody reads"),
    ("bending/beam.py", "order=0)", "0", "derivatives that nobody reads"),
    ("grinding/recession_field.py", "frame = edge.frame(arc, order=1)", "1", "the same"),
    ("method/strokes.py", "+ np.zeros", "Add", "zeros give a shape, added or taken"),
    ("grinding/recession_field.py", "+ np.zeros", "Add", "zeros give a shape, added or taken"),
    ("bending/beam.py", "+ np.zeros", "Add", "zeros give a shape, added or taken"),
    (
        "method/lay.py",
        "vec.dot(into, frame.flank) < 0",
        "Lt",
        "a stone square to the flank has steel on either side",
    ),
    (
        "grinding/recession_field.py",
        "middle = self.depth_mm.shape[1] // 2",
        "2",
        "the shares of the depth are the same at all stations",
    ),
    ("grinding/recession_field.py", "CELLS_IN_CACHE = 16384", "", "pieces of work: time alone"),
    ("grinding/recession_field.py", "group = max(1, CELLS_IN_CACHE", "", "time alone"),
    ("grinding/recession_field.py", "min(a + group, planes)", "min", "past the last is the last"),
    ("grinding/rolling.py", "size = max(1, CELLS_IN_CACHE", "", "pieces of work: time alone"),
    ("grinding/recession_field.py", "SAFE = 1e-3", "", "more stations looked at than need be"),
    ("grinding/recession_field.py", "least <= SAFE", "LtE", "more stations looked at"),
    ("grinding/recession_field.py", "to_toe = max(", "Sub", "more stations looked at"),
    (
        "grinding/recession_field.py",
        "back = slice(max(from_heel, 0), max(to_toe, 0))",
        "0",
        "one more",
    ),
    ("grinding/recession_field.py", "if back.stop > back.start", "Gt", "of none, nothing is done"),
    ("grinding/recession_field.py", "MAX_NODES = 4_000_000", "", "a bound, one node more or less"),
    (
        "grinding/recession_field.py",
        "columns = np.repeat(columns, 2",
        "2",
        "copies beside a lone run, cut off again",
    ),
    (
        "grinding/recession_field.py",
        "if normals.shape[2] > 1:",
        "Gt",
        "a guard for the last bit; the routines of this machine round alike",
    ),
    *(
        (
            "grinding/recession_field.py",
            "last = np.where(has_any, size - mask",
            kind,
            "a later end has more stations looked at, each by itself",
        )
        for kind in ("1", "Sub", "0")
    ),
    *(
        (
            "grinding/recession_field.py",
            "twins = np.repeat(lone, 2, axis=0)",
            kind,
            "the same guard; copies are cut off again",
        )
        for kind in ("1", "2", "Eq")
    ),
    (
        "grinding/recession_field.py",
        "lead -= np.where(np.isfinite(support[part])",
        "0.0",
        "what faces nothing has a lead of minus infinity",
    ),
    (
        "grinding/recession_field.py",
        "offset = np.where(faced",
        "0.0",
        "what faces nothing has heights of minus infinity",
    ),
    (
        "grinding/recession_field.py",
        "near = seating.touch > offset",
        "Gt",
        "a margin for rounding is not met to the last bit",
    ),
    ("grinding/recession_field.py", "enumerate(spans) if last > first", "Gt", "never equal"),
    (
        "grinding/recession_field.py",
        "height.max(axis=0) if len(planes) > 1",
        "Gt",
        "of one plane the highest is it",
    ),
    ("grinding/recession_field.py", "if len(meets) > 1:", "Gt", "of one plane the highest is it"),
    (
        "grinding/recession_field.py",
        "top = planes[-1] + 2",
        "2",
        "any number above all planes' does",
    ),
    (
        "grinding/recession_field.py",
        "limit < field.max()",
        "Lt",
        "an inset at the limit is not changed by it",
    ),
    (
        "grinding/planes.py",
        "last = (above - weights <= spare)",
        "LtE",
        "a margin for rounding is not met to the last bit",
    ),
    (
        "grinding/planes.py",
        "goal - rounding_mm(goal)",
        "GtE",
        "a margin for rounding is not met to the last bit",
    ),
    ("grinding/planes.py", "np.isfinite(rise + fall)", "Add", "finite where both are"),
    ("grinding/planes.py", "gaps = np.diff(grid.arc_mm) / 2", "", "shares are relative"),
    ("grinding/arrays/levels.py", "MAX_STEPS = 200", "", "six are usual, and none comes near"),
    (
        "grinding/arrays/levels.py",
        "USUAL_REACH = 6.0",
        "",
        "the way to a level that its area proves",
    ),
    (
        "grinding/arrays/levels.py",
        "reach = USUAL_REACH * deep",
        "",
        "the way to a level that its area proves",
    ),
    (
        "grinding/arrays/levels.py",
        "deep = columns.area",
        "",
        "the way to a level that its area proves",
    ),
    (
        "grinding/arrays/levels.py",
        "more = np.sqrt(deep / taken)",
        "",
        "the way to a level that its area proves",
    ),
    (
        "grinding/arrays/levels.py",
        "low + reach * more",
        "",
        "the way to a level that its area proves",
    ),
    (
        "grinding/arrays/levels.py",
        "taken = depths.mean(",
        "",
        "the way to a level that its area proves",
    ),
    ("grinding/arrays/flank.py", "COLUMNS_IN_CACHE = 6144", "", "pieces of work: time alone"),
    ("grinding/arrays/flank.py", "GAPLESS = 4096", "", "pieces of work: time alone"),
    ("grinding/arrays/flank.py", "(24 - columns) % 64", "", "pieces of work: time alone"),
    ("grinding/arrays/flank.py", "if columns > GAPLESS", "", "pieces of work: time alone"),
    (
        "grinding/arrays/flank.py",
        "-(-columns // COLUMNS_IN_CACHE)",
        "",
        "pieces of work: time alone",
    ),
    ("grinding/section_stroke.py", "MAX_STEPS = 60", "", "five are usual, and none comes near"),
    ("grinding/arrays/strokes.py", "RAISED = 1e3", "", "where a bracket begins, not where it ends"),
    (
        "grinding/arrays/levels.py",
        "newton = np.where(newton",
        "",
        "the way to an answer that its area proves",
    ),
    (
        "grinding/arrays/levels.py",
        "np.where(excess < 0, level, low), np.where(excess > 0",
        "",
        "the way to an answer that its area proves",
    ),
    (
        "grinding/arrays/strokes.py",
        "depth = np.where(good, depth, depth - excess",
        "Mult",
        "the way to an answer that its volume proves",
    ),
    (
        "grinding/arrays/strokes.py",
        "gain = rolled.volume(rolled.node_mm.sum(axis=0)",
        "Mult",
        "where the way begins",
    ),
    (
        "grinding/arrays/strokes.py",
        "again = (too_much == was_too_much) & (step > 1)",
        "",
        "the way to an answer that its volume proves",
    ),
    ("grinding/arrays/strokes.py", "np.where(again, below / 2", "", "the same"),
    ("grinding/arrays/strokes.py", "np.where(again, above / 2", "", "the same"),
    ("grinding/arrays/strokes.py", "below, above = -volume_mm3", "", "the same"),
    (
        "grinding/arrays/strokes.py",
        "slope = np.where(finite, above, 1.0) - below",
        "1.0",
        "not read",
    ),
    ("grinding/arrays/strokes.py", "too_much = excess > 0", "Gt", "an answer found either way"),
    (
        "grinding/arrays/strokes.py",
        "widths = np.where(line > field[part]",
        "Gt",
        "the way to an answer that its area proves",
    ),
    (
        "grinding/arrays/levels.py",
        "np.abs(excess) <= EXACT * columns",
        "LtE",
        "a tolerance is not met to the last bit",
    ),
    (
        "grinding/arrays/strokes.py",
        "(stretch.last < len(slope) - 1).any()",
        "Lt",
        "a part that is the whole is cut like it",
    ),
    (
        "grinding/arrays/strokes.py",
        "(stretch.last < len(slope) - 1).any()",
        "Sub",
        "a part that is the whole is cut like it",
    ),
    (
        "grinding/arrays/levels.py",
        "self.curvature <= 1))",
        "LtE",
        "a line that just reaches the centre takes nothing past it",
    ),
    (
        "grinding/arrays/strokes.py",
        "end = np.where(station < self.stretch.first",
        "Lt",
        "at the first station its own level is taken",
    ),
    (
        "grinding/rolling.py",
        "(depth <= self.drop_mm).sum",
        "LtE",
        "at a node both lines meet",
    ),
    (
        "grinding/arrays/strokes.py",
        "part.at(np.where(area > 0",
        "Gt",
        "of no area the line touches",
    ),
    (
        "grinding/arrays/strokes.py",
        "raised = touch + np.minimum(area, 0.0)",
        "0.0",
        "read where the area is 0 or less",
    ),
    (
        "grinding/arrays/strokes.py",
        "facing = np.where(sees, facing, 1.0)",
        "1.0",
        "what stands in where nothing is seen is not used",
    ),
    (
        "grinding/arrays/strokes.py",
        "factor=np.where(sees",
        "0.0",
        "minus infinity whatever is added",
    ),
    (
        "grinding/arrays/strokes.py",
        "slope=np.where(sees",
        "0.0",
        "minus infinity whatever is added",
    ),
    ("grinding/arrays/strokes.py", "sees = facing > GRAZING", "Gt", "never met to the last bit"),
    (
        "grinding/rolled_side.py",
        "length = float(rolled.grid.arc_mm[-1])",
        "",
        "modes hang on the share of the length over which errors stay alike",
    ),
    (
        "grinding/rolling_session.py",
        "KEEN_MM = 1.0",
        "",
        "below 0 any margin is keen, and of edges all keen none was dull before",
    ),
    (
        "grinding/rolling_session.py",
        "np.where(need > TINY, level",
        "Gt",
        "a margin for rounding is not met to the last bit",
    ),
    (
        "grinding/rolling_session.py",
        "np.where(inset > 0, blunt, radius)",
        "Gt",
        "where nothing was taken the radius is what it was",
    ),
    (
        "grinding/rolling_session.py",
        "crossed = (now < 0) & (before > 0)",
        "Lt",
        "of a margin of 0 nothing is past",
    ),
    (
        "grinding/section_stroke.py",
        "w * (1 - curvature * u)",
        "",
        "the way to an answer that its area proves",
    ),
    (
        "grinding/section_stroke.py",
        "abs(excess) <= EXACT",
        "LtE",
        "a tolerance is not met to the last bit",
    ),
    ("grinding/random_streams.py", ".reshape(edges, PATCHES, -1)", "1", "any negative size"),
    ("grinding/random_streams.py", "np.random.Philox(key=0)", "0", "set anew for each run"),
    (
        "grinding/random_streams.py",
        "integers(0, 2**64",
        "0",
        "of 18 million million million keys one is another",
    ),
    ("grinding/modes.py", "shape[0] >= 0, 1.0, -1.0", "GtE", "a sum that is never 0"),
    ("grinding/worn_blade.py", "new_state(grid, 1), given", "1", "the first of two alike"),
    ("grinding/worn_blade.py", "np.where(moved > 0", "Gt", "a new flank is its own parallel"),
    (
        "bending/load_limits.py",
        "self.mid_edge_n >= most",
        "GtE",
        "an exponential is not met to the last bit",
    ),
    ("bending/load_limits.py", "slice(last, last + 2)", "2", "a place more, not read"),
    ("bending/beam.py", "- lost_mm[:, None] > _MIN_LEVER_MM", "Gt", "not met to the last bit"),
    ("bending/beam.py", "len(here) > limit", "Gt", "as many of as many are all"),
    ("bending/beam.py", "len(self.new_mm[0])", "0", "all rows are as long"),
    ("bending/strength.py", "new_section_mm=model.outlines_mm((), 1)[0", "1", "the first of two"),
    (
        "bending/section_properties.py",
        "scale = np.abs(along).max(axis=1)",
        "max",
        "what rounding may do, over- or underrated; where it is nothing, boxes decide",
    ),
    ("bending/section_properties.py", "c * np.sign(area)[..., None]", "Mult", "1 or -1"),
    (
        "grinding/section_stroke.py",
        "if distance <= -radius:",
        "LtE",
        "an arc of less than nothing follows, and the same end",
    ),
    ("grinding/section_stroke.py", "if arc <= 0:", "LtE", "of no arc nothing is left"),
    (
        "grinding/random_streams.py",
        "generate_state(1, np.uint64)[0]",
        "1",
        "the first word is the same of more",
    ),
    ("life/dulling.py", "power = 1 / checks.between", "5.0", "the law itself checks again"),
    (
        "grinding/modes.py",
        "shape.sum(axis=0) + shape[0] >= 0",
        "0",
        "places beside one another have one sign",
    ),
    ("grinding/section_stroke.py", "level = (area + sum(", "", "where the way begins"),
    *(
        (
            "bending/beam.py",
            "np.clip(arc / grid.arc_mm[1], 0, len(grid.arc_mm) - 1)",
            kind,
            "no section lies beyond the load, and so none at the end of the toe",
        )
        for kind in ("1", "Sub")
    ),
    (
        "bending/beam.py",
        "station = np.minimum(np.floor(place), len(grid.arc_mm) - 2)",
        "2",
        "no section lies in the last step of the toe",
    ),
    ("life/life.py", "MAX_RUNS_AT_ONCE = 640", "", "runs computed together: time alone"),
    ("life/life.py", "MAX_PLANES_AT_ONCE = 2**16", "", "runs computed together: time alone"),
    ("life/life.py", "slots = min(MAX_RUNS_AT_ONCE", "", "runs computed together: time alone"),
    ("life/life.py", "TRIM_THRESHOLD, MMAP_THRESHOLD = ", "", "memory kept: time alone"),
    ("life/life.py", "LARGEST_BLOCK = 2**25", "", "memory kept: time alone"),
    (
        "life/life.py",
        "effects, _ = streams.session(0",
        "",
        "lasting effects hang on neither the session nor its seatings",
    ),
    ("life/life.py", "in self.streams.key(0).tolist()", "0", "there is one key"),
    ("life/batch.py", "self._in_step = len(prepared.aims) > 1", "Gt", "time alone"),
    (
        "life/use.py",
        "grown(last + half) < limit_um",
        "Lt",
        "at the limit nothing is left either way",
    ),
    (
        "life/use.py",
        "RunEffects(np.zeros((1, 4))",
        "1",
        "more runs of the median instrument, of which the first is told",
    ),
    ("life/use.py", "patches = np.zeros((1, len(grids), PATCHES))", "", "not read without scatter"),
    ("life/use.py", "cycle = replace(cycle, patch_cv=0.0)", "", "patches are all alike then"),
    (
        "life/use.py",
        "edges=len(grids), seatings=1)",
        "1",
        "seatings are drawn last and not read",
    ),
    ("life/worn_file.py", "json.dumps(content, indent=1)", "1", "spaces in a file"),
    (
        "bending/beam.py",
        "below = np.count_nonzero(depth <= drop",
        "LtE",
        "at a row both lines meet",
    ),
    (
        "bending/beam.py",
        "high = np.clip(below, 1, len(depth) - 1)",
        "Sub",
        "a face past the back is told before",
    ),
    ("bending/beam.py", "above = depth < drop", "Lt", "a row at the face is moved to itself"),
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
