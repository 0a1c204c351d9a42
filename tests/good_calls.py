"""Good arguments of every public callable: what a fuzz test spoils, one or two at a time."""

import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import sympy

import edgekit as ek
from tests.results import DEMO, QUICK, results

CASE = {"stations": 8, "depths": 4}


def folder():
    return Path(tempfile.mkdtemp())


@cache
def calls():
    """Dotted name to (callable, its good arguments by name)."""
    table = {}
    for part in PARTS:
        for name, given in part().items():
            target = ek
            for step in name.split("."):
                target = getattr(target, step)
            table[name] = (target, given)
    return table


def _geometry():
    shown = results()
    edge, blade, setting = shown["Edge"], ek.patterns.hoe(), shown["Setting"]
    points = np.column_stack([np.linspace(0, 3, 9), np.linspace(0, 3, 9) ** 2 / -9, np.zeros(9)])
    shape = {"width_mm": 0.9, "length_mm": 5.0, "internal_angle_deg": 75.0, "shank_bend_deg": 5.0}
    names = ("universal_curette", "area_specific_curette", "half_length_curette", "hoe")
    names += ("straight_sickle", "curved_sickle")
    return {f"patterns.{name}": dict(shape) for name in names} | {
        "Edge.from_points": {
            "points_mm": points,
            "face_normals": (0.0, 0.0, 1.0),
            "internal_angle_deg": 75.0,
            "handle_axis": (0.0, 0.3, -1.0),
        },
        "read_blade": {"path": DEMO / "traces" / "FH-03-AS1.toml"},
        "write_blade": {"blade": blade, "path": folder() / "b.toml", "replace": True},
        "engine": {"use": ek.engine()},
        "width_between": {"edge": edge, "far": edge, "arc_mm": np.array([1.0])},
        "orient": {"edge": edge, "stone": ek.FlatStone(), "stations": 9},
        "best_setting": {"edge": edge, "tolerance_deg": 3.0, "stations": 20},
        "setting_at": {"edge": edge, "elevation_deg": 15.0, "stations": 20},
        "settings_needed": {"edge": edge, "tolerance_deg": 4.0, "stations": 20},
        "settings_table": {"settings": [setting]},
        "roll_schedule": {"setting": setting, "seconds": 5.0, "steps": 5},
        "facets": {"edge": edge, "placements": 3, "depth_um": 9.0, "stations": 20},
        "placements_for": {"edge": edge, "ridge_um": 20.0},
        "spaced_placements": {"edge": edge, "ridge_um": 20.0},
        "placed_by_curvature": {"edge": edge, "placements": 4},
        "section_properties": {"outline_mm": [[0, 0], [0.9, 0], [0.6, -0.7], [0.2, -0.6]]},
    }


def _wear():
    blade, method, worn = ek.patterns.hoe(), QUICK, results()["WornBlade"]
    file = ek.write_worn(worn, folder() / "worn.toml")
    law = ek.PowerDulling()
    return {
        "dull_edge": {"internal_angle_deg": 75.0, "radius_um": [1.0, 4.0]},
        "sharpen": {"blade": blade, "method": method, "dull_radius_um": 4.0, "rng": 1} | CASE,
        "live": {"blade": blade, "method": method, "use": ek.Use(), "rng": 1} | CASE,
        "use": {"blade": worn, "use": 15.0, "rng": 1},
        "write_worn": {"worn": worn, "path": folder() / "worn.toml", "replace": True},
        "read_worn": {"path": file},
        "write_result": {
            "result": results()["Comparison"],
            "path": folder() / "result.zip",
            "replace": True,
        },
        "read_result": {"path": ek.write_result(results()["Life"], folder() / "life.zip")},
        "strokes.rolling": {"stretch_mm": 2.0},
        "strokes.local": {"placements": 6},
        "strokes.counted": {"strokes": 8},
        "strokes.until_clear": {},
        "strokes.until_fresh": {},
        "strength": {"blade": worn, "load_n": 5.0},
        "load_limits": {"blade": worn, "yield_mpa": 1700.0},
        "Use": {"strokes": 40.0, "law": law, "sharp_radius_um": 1.0, "patch_cv": 0.1},
        "laws.PowerDulling": {"rate": 0.4, "exponent": 0.5},
        "laws.SaturatingDulling": {"limit_um": 6.0, "strokes": 20.0},
        "laws.TableDulling": {"strokes": [0, 15, 45], "radius_um": [1.5, 3, 5]},
        "retire.MaxWidthLoss": {"fraction": 0.2, "basis": ek.Basis.MEAN},
        "retire.MinWidth": {"width_mm": 0.7},
        "retire.MinLength": {"fraction": 0.7},
        "retire.MaxThicknessLoss": {"fraction": 0.2},
        "retire.MinStrength": {"fraction": 0.7},
        "hand.ErrorTerm": {"bias": 0.0, "person_sd": 1.0, "sd": 2.0, "sd_gsd": 1.2},
        "hand.Hand": {"tilt_deg": ek.ErrorTerm(sd=2.0)},
        "methods.freehand": {"hand": ek.Hand()},
        "methods.bench_stone": {"hand": ek.Hand()},
        "methods.powered": {"hand": ek.Hand()},
        "methods.held": {"setting": 15.0},
        "methods.face_honing": {"hand": ek.Hand()},
        "mixture": {"side": method, "face": ek.methods.face_honing(), "sides": 1, "faces": 2},
        "FollowEdge": {"setups": 1},
        "HoldElevation": {"elevations_deg": (10.0, 20.0)},
    }


def _studies():
    blade, method = ek.patterns.hoe(), QUICK
    case, inputs = results()["LifeCase"], {"use.strokes": (20.0, 60.0)}
    quick = {"runs": 2, "seed": 1}
    grid = ek.grids.full_grid({"use.strokes": [20.0]})
    return {
        "LifeCase": {"blade": blade, "method": method, "use": ek.Use()} | CASE,
        "compare": {"blade": blade, "methods": [method]} | quick | CASE,
        "sweep": {"task": case, "grid": grid, "progress": False} | quick,
        "sensitivity": {"task": case, "inputs": inputs, "points": 8, "progress": False} | quick,
        "tornado": {"task": case, "inputs": inputs, "progress": False} | quick,
        "runs_needed": {"pilot": [1.0, 2.0, 3.5], "error": 0.2},
        "key_inputs": {"blade": blade, "method": method} | quick,
        "face_or_sides": {
            "blade": ek.patterns.universal_curette(),
            "mixes": ((1, 0), (0, 1)),
            "tilts_deg": (0.0,),
        }
        | quick,
        "grids.full_grid": {"axes": {"use.strokes": [20.0, 30.0]}},
        "grids.list_grid": {"rows": [{"use.strokes": 20.0}]},
        "grids.latin_hypercube": {"inputs": inputs, "points": 4, "seed": 1},
        "grids.sobol_points": {"inputs": inputs, "points": 4, "seed": 1},
    }


def _finish():
    shown = results()
    edge, finish = shown["Edge"], shown["Finish"]
    return {
        "grain_um": {"scale": "FEPA-P", "number": 400},
        "vickers": {"hrc": [50.0, 55.0]},
        "rockwell_c": {"hv": [520.0]},
        "roughness": {"x_um": np.arange(500.0), "z_um": np.sin(np.arange(500.0)) / 9},
        "finish": {"edge": edge, "method": ek.methods.freehand(), "rng": 1, "stations": 20},
        "lay": {"edge": edge, "stroke": ek.along_edge(), "stations": 20},
        "along_edge": {},
        "across_edge": {},
        "working_angles": {"face_tooth_deg": [60.0, 95.0], "internal_angle_deg": 75.0},
        "blunting": {"finish": finish, "strokes": (0, 5)},
        "steel_grain_claim": {"along": finish, "across": finish},
        "wire_edge": {"stroke": ek.StrokeSense.TO_AND_FRO, "observed": True},
    }


def _clinic():
    shown = results()
    log, forecast, prices = shown["Log"], shown["Forecast"], shown["Prices"]
    tray = {"A-1": ek.patterns.hoe()}
    words = dict.fromkeys(log.rows["method"].unique(), QUICK)
    table = pd.DataFrame({"a": [1.0]})
    plan = ek.plan_bench(tray, tolerance_deg=3.0)
    row = forecast.table.iloc[0]
    return {
        "read_log": {"source": DEMO / "log.csv", "strict": False},
        "forecast": {"log": log, "retire": ek.MaxWidthLoss(), "level": 0.9},
        "survival": {"log": log, "level": 0.9},
        "read_prices": {"source": DEMO / "prices.csv"},
        "budget": {"result": forecast, "prices": prices, "months": 3},
        "saving": {"result": forecast, "prices": prices, "change": shown["IntervalChange"]},
        "compare_with_model": {"result": forecast, "methods": words, "seed": 1, "runs": 20},
        "source_rows": {
            "result": forecast,
            "instrument": row["instrument"],
            "edge": row["edge"],
            "column": "loss_um_per_session",
        },
        "fewest_settings": {"windows_deg": [[1, 4], [3, 6]]},
        "plan_bench": {"blades": tray, "tolerance_deg": 3.0},
        "setting_sheet": {"plan": plan, "path": folder() / "s.html", "replace": True},
        "read_tray": {"path": DEMO / "tray_FH-03.csv"},
        "read_clinic": {
            "tray": DEMO / "tray_FH-03.csv",
            "log": DEMO / "log.csv",
            "prices": DEMO / "prices.csv",
            "day_first": False,
        },
        "write_table": {"table": table, "path": folder() / "t.csv", "replace": True},
        "read_table": {"path": DEMO / "prices.csv"},
        "evidence": {},
        "cautions": {},
        "clinic.MethodChange": {"pattern": "hoe", "method": "held", "to": "freehand"},
        "clinic.IntervalChange": {"pattern": "hoe", "method": "held", "factor": 2.0},
        "clinic.read_weighings": {
            "weights": DEMO / "weighings" / "weights.csv",
            "strokes": DEMO / "weighings" / "strokes.csv",
        },
        "clinic.steel_per_stroke": {
            "weighings": shown["Weighings"],
            "stone": "bench stone",
            "way": ek.clinic.Way.ROLLING,
            "proportion": ek.clinic.Proportion.STROKES,
        },
        "clinic.compare_ways": {"weighings": shown["Weighings"], "stone": "bench stone"},
        "clinic.steel_by_traces": {"weighings": shown["Weighings"]},
        "clinic.blades_to_weigh": {"steel_mg": (0.15, 0.5), "cv": 0.3, "digits_mg": (0.01, 0.1)},
        "SettingRange": {"low_deg": 0.0, "high_deg": 40.0, "step_deg": 1.0},
    }


def _records():
    u = sympy.Symbol("u", real=True)
    return {
        "stones.FlatStone": {"length_mm": 50.0},
        "stones.RodStone": {"radius_mm": 3.0},
        "stones.DiscStone": {"radius_mm": 20.0},
        "stones.ConeStone": {
            "small_radius_mm": 1.0,
            "large_radius_mm": 3.0,
            "length_of_axis_mm": 40.0,
        },
        "stones.ceramic_stone": {"lubricant": ek.Lubricant.WATER},
        "stones.diamond_plated_stone": {"lubricant": ek.Lubricant.WATER},
        "stones.fine_natural_stone": {"lubricant": ek.Lubricant.OIL},
        "stones.Abrasive": {"name": "a", "median_um": 9.0, "lubricant": ek.Lubricant.OIL},
        "Holder": {"pivot_height_mm": 60.0, "reach_mm": 80.0},
        "Oblique": {"angle_deg": 40.0},
        "HolderStroke": {"angle_deg": 4.0},
        "StraightStroke": {"direction": (1.0, 0.0, 0.0)},
        "Alternation": {"name": "a", "methods": (ek.methods.freehand(),)},
        "SymbolicCurve": {
            "expressions": (2 * u, sympy.sin(u), 0),
            "parameter": u,
            "domain": (0, 2),
        },
        "SplineCurve.through": {
            "parameter": np.arange(9.0),
            "values": np.arange(27.0).reshape(9, 3),
        },
    }


def _figures():
    shown = results()
    plan, finish = shown["BenchPlan"], shown["Finish"]
    row = shown["Forecast"].table.iloc[0]
    table = ek.sweep(
        shown["LifeCase"],
        ek.grids.full_grid({"use.strokes": [20.0, 40.0]}),
        runs=2,
        seed=1,
        progress=False,
    )
    strengths = {"a": shown["Strength"]}
    given = {
        "blade": {"blade": ek.patterns.hoe(), "placements": 2},
        "blunting": {"case": shown["OnCounterface"]},
        "comparison": {"comparison": shown["Comparison"]},
        "differences": {"comparison": shown["Comparison"]},
        "due": {"result": shown["Forecast"]},
        "edge_line": {"finishes": {"a": finish}},
        "face_or_sides": {"result": shown["FaceOrSides"]},
        "facets": {"facets": shown["Facets"]},
        "lay": {"lays": shown["Lay"]},
        "life": {"lives": shown["Life"]},
        "life_dots": {"table": table, "y": "sessions", "by": "use.strokes"},
        "orientation": {"orientation": shown["Orientation"]},
        "profile": {"session": shown["Session"], "edge_name": "used"},
        "readings": {
            "result": shown["Forecast"],
            "instrument": row["instrument"],
            "edge": row["edge"],
        },
        "recession": {"session": shown["Session"]},
        "replacements": {"plan": shown["Budget"]},
        "section": {"blade_or_section": ek.patterns.hoe()},
        "sensitivity": {"result": shown["Sensitivity"]},
        "setting": {"setting_or_list": shown["Setting"]},
        "slant": {"result": shown["FaceOrSides"]},
        "steel_per_stroke": {"steel": shown["SteelPerStroke"]},
        "strength": {"result": shown["Strength"]},
        "strength_and_width": {"lives": {"a": shown["Life"]}},
        "sweep": {"table": table, "x": "use.strokes"},
        "teeth_and_strokes": {"blunting": shown["Blunting"]},
        "tornado": {"result": shown["Tornado"]},
        "windows": {"plan": plan},
        "worn_section": {"worn": strengths},
        "sheet": {
            "plan": ek.plan_bench([ek.patterns.hoe()], tolerance_deg=3.0),
            "handle_diameter_mm": 8.0,
        },
        "alt_text": {"ax": ek.figures.section(ek.patterns.hoe())},
        "picture": {"ax": ek.figures.section(ek.patterns.hoe()), "dpi": 40.0},
    }
    return {f"figures.{name}": arguments for name, arguments in given.items()}


@cache
def _seen():
    """Scale, two outlines and the loss between them, of the demo pictures."""
    P = ek.pictures
    folder, heel = DEMO / "pictures", P.EdgeLength(side=P.Side.LEFT, length_mm=6.26)
    board = P.read_picture(folder / "board.png", response=P.SRGB)
    scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    before, after = (
        P.read_picture(folder / f"FH-03-AS1_2026-03-{day}_a.png", response=P.SRGB)
        for day in ("02", "09")
    )
    lines = [P.outline(picture, scale, heel=heel) for picture in (before, after)]
    given = {"datum": P.Datum.UNUSED_EDGE_AND_SHANK, "side": P.Side.LEFT}
    given |= {"mount": P.Mount(distance_mm=120.0)}
    return board, scale, lines, given, P.width_loss(*([line] for line in lines), **given)


def _pictures():
    P = ek.pictures
    board, scale, (before, after), given, loss = _seen()
    ends = {"from_px": (10.0, 10.0), "to_px": (400.0, 10.0)}
    axis, blade = (0.0, 0.342, -0.940), ek.read_blade(DEMO / "traces" / "FH-03-AS1.toml")
    pin = P.Input(name="pin", value=500.0, sd=0.5, unit="µm")
    target = P.Checkerboard(pitch_mm=0.5, squares=(14, 6))
    calls = {
        "read_picture": {"path": DEMO / "pictures" / "board.png", "response": P.SRGB},
        "calibrate": {"picture": board, "target": target},
        "outline": {"picture": before.picture, "scale": scale},
        "edge_spread": {"picture": before.picture, "region_px": (20, 170, 70, 220)},
        "chips": {"line": before, "side": P.Side.LEFT},
        "width": {"line": before, "side": P.Side.LEFT, "mount": given["mount"]},
        "width_loss": {"before": [before], "after": [after]} | given,
        "edge_from_view": {"line": before, "side": P.Side.LEFT, "handle_axis": axis},
        "blade_from_view": {
            "line": before,
            "name": "a",
            "kind": ek.BladeClass.AREA_SPECIFIC,
            "handle_axis": axis,
            "thickness_mm": 0.71,
        },
        "propagate_trace": {"blade": blade, "name": "used", "measure": lambda e: e.length_mm},
        "Checkerboard": {"pitch_mm": 0.5, "squares": (14, 6)},
        "StageMicrometer": {"pitch_mm": 0.1, "lines": 11} | ends,
        "KnownWidth": {"width_mm": 0.5} | ends,
        "EdgeLength": {"side": P.Side.LEFT, "length_mm": 6.26},
        "HeelAt": {"side": P.Side.LEFT, "x_px": 100.0, "y_px": 100.0},
        "EdgeEnd": {"short_of_mm": 0.1},
        "Mount": {"distance_mm": 120.0},
        "Apex": {"radius_um": 1.5, "sd_um": 0.5},
        "Gamma": {"exponent": 2.2},
        "Input": {"name": "pin", "value": 500.0, "sd": 0.5, "unit": "µm"},
        "Budget": {"name": "width", "inputs": (pin,), "model": lambda at: at["pin"]},
    }
    return {f"pictures.{name}": arguments for name, arguments in calls.items()} | {
        "WornBlade.from_pictures": {"blade": blade, "losses": {"used": loss}} | CASE,
        "figures.outline": {"line": before},
        "figures.width_loss": {"loss": loss},
        "figures.uncertainty": {"result": loss},
    }


def _checks():
    return {
        "testing.check_dulling_law": {"law": ek.PowerDulling()},
        "testing.check_retire_rule": {"rule": ek.MinLength()},
        "testing.check_guide": {"guide": ek.FollowEdge()},
        "testing.check_stone": {"stone": ek.RodStone()},
        "testing.check_stroke": {"stroke": ek.strokes.rolling(stretch_mm=2.0)},
        "testing.check_stop_rule": {"rule": ek.strokes.until_fresh()},
    }


PARTS = (_geometry, _wear, _studies, _finish, _clinic, _records, _figures, _pictures, _checks)
