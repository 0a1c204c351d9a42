"""Edge geometry and wear of small curved hand instruments.

Public names load when first used, so that ``import edgekit`` costs little more than numpy.
"""

import importlib

from edgekit.errors import EdgekitError

__version__ = "0.2.0"

_HOMES = {
    "Blade": "edgekit.geometry.blade",
    "BladeClass": "edgekit.geometry.blade",
    "Edge": "edgekit.geometry.edge",
    "SymbolicCurve": "edgekit.geometry.curve",
    "SplineCurve": "edgekit.geometry.curve",
    "width_between": "edgekit.geometry.blade",
    "read_blade": "edgekit.geometry.trace",
    "write_blade": "edgekit.geometry.writing",
    "FlatStone": "edgekit.contact.stone",
    "RodStone": "edgekit.contact.stone",
    "ConeStone": "edgekit.contact.stone",
    "orient": "edgekit.contact.orientation",
    "Holder": "edgekit.contact.holder",
    "best_setting": "edgekit.contact.holder",
    "roll_schedule": "edgekit.contact.holder",
    "setting_at": "edgekit.contact.holder",
    "settings_needed": "edgekit.contact.holder",
    "settings_table": "edgekit.contact.holder",
    "facets": "edgekit.contact.facets",
    "placements_for": "edgekit.contact.facets",
    "spaced_placements": "edgekit.contact.facets",
    "dull_edge": "edgekit.wear.dulling",
    "PowerDulling": "edgekit.wear.dulling",
    "SaturatingDulling": "edgekit.wear.dulling",
    "TableDulling": "edgekit.wear.dulling",
    "Marks": "edgekit.wear.method",
    "Stop": "edgekit.wear.method",
    "Hand": "edgekit.wear.method",
    "ErrorTerm": "edgekit.wear.method",
    "Method": "edgekit.wear.method",
    "Spacing": "edgekit.contact.facets",
    "placed_by_curvature": "edgekit.contact.facets",
    "sharpen": "edgekit.wear.session",
    "Basis": "edgekit.wear.retire",
    "LengthFraction": "edgekit.wear.retire",
    "ThicknessFraction": "edgekit.wear.retire",
    "WidthFraction": "edgekit.wear.retire",
    "Use": "edgekit.wear.life",
    "live": "edgekit.wear.life",
    "compare": "edgekit.study.compare",
    "LifeTask": "edgekit.study.task",
    "sweep": "edgekit.study.sweep",
    "full_grid": "edgekit.study.grid",
    "list_grid": "edgekit.study.grid",
    "latin_hypercube": "edgekit.study.grid",
    "sobol_points": "edgekit.study.grid",
    "sensitivity": "edgekit.study.sensitivity",
    "tornado": "edgekit.study.sensitivity",
    "runs_needed": "edgekit.study.sensitivity",
    "grain_um": "edgekit.contact.grain",
    "Scale": "edgekit.contact.grain",
    "Abrasive": "edgekit.contact.abrasive",
    "roughness": "edgekit.contact.texture",
    "working_angles": "edgekit.contact.cutting",
    "wire_edge": "edgekit.contact.wire_edge",
    "vickers": "edgekit.wear.hardness",
    "rockwell_c": "edgekit.wear.hardness",
    "section_properties": "edgekit.wear.section_properties",
    "read_log": "edgekit.care.log",
    "forecast": "edgekit.care.forecast",
    "beside_model": "edgekit.care.beside",
    "rows_behind": "edgekit.care.tracing",
    "WidthLimit": "edgekit.care.limits",
    "survival": "edgekit.care.survival",
    "budget": "edgekit.care.budget",
    "saving": "edgekit.care.saving",
    "read_prices": "edgekit.care.prices",
    "write_table": "edgekit.care.records",
    "read_table": "edgekit.care.records",
    "fewest_settings": "edgekit.care.settings",
    "SettingRange": "edgekit.care.settings",
    "plan_bench": "edgekit.care.bench_plan",
    "read_tray": "edgekit.care.tray",
    "setting_sheet": "edgekit.figures.setting_sheet",
    "what_decides": "edgekit.study.deciders",
    "cautions": "edgekit.safety",
    "evidence": "edgekit.evidence_table",
    "Lubricant": "edgekit.contact.abrasive",
    "fine_natural_stone": "edgekit.contact.abrasive",
    "ceramic_stone": "edgekit.contact.abrasive",
    "diamond_plated_stone": "edgekit.contact.abrasive",
    "DiscStone": "edgekit.contact.stone",
    "HolderStroke": "edgekit.contact.lay",
    "Oblique": "edgekit.contact.lay",
    "StraightStroke": "edgekit.contact.lay",
    "across_edge": "edgekit.contact.lay",
    "along_edge": "edgekit.contact.lay",
    "lay": "edgekit.contact.lay",
    "StrokeSense": "edgekit.contact.wire_edge",
    "finish": "edgekit.wear.finish",
    "blunting": "edgekit.wear.blunting",
    "steel_grain_claim": "edgekit.wear.steel_grain",
    "strength": "edgekit.wear.strength",
    "StrengthRatio": "edgekit.wear.retire",
    "Alternation": "edgekit.wear.alternation",
    "face_or_sides": "edgekit.study.face_or_sides",
    "mixture": "edgekit.study.face_or_sides",
}
_MODULES = {
    "patterns": "edgekit.geometry.patterns",
    "methods": "edgekit.study.methods",
    "figures": "edgekit.figures",
}

__all__ = ["EdgekitError", "__version__", *_HOMES, *_MODULES]  # noqa: PLE0604


def __getattr__(name: str) -> object:
    if name in _HOMES:
        found: object = getattr(importlib.import_module(_HOMES[name]), name)
    elif name in _MODULES:
        found = importlib.import_module(_MODULES[name])
    else:
        message = f"module 'edgekit' has no attribute {name!r}"
        raise AttributeError(message)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(__all__)
