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
    "read_blade": "edgekit.digitising.reader",
    "write_blade": "edgekit.digitising.writer",
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
    "dull_edge": "edgekit.life.dulling",
    "PowerDulling": "edgekit.life.dulling",
    "SaturatingDulling": "edgekit.life.dulling",
    "TableDulling": "edgekit.life.dulling",
    "Hand": "edgekit.method.hand",
    "ErrorTerm": "edgekit.method.hand",
    "Method": "edgekit.method.method",
    "Spacing": "edgekit.contact.facets",
    "placed_by_curvature": "edgekit.contact.facets",
    "sharpen": "edgekit.grinding.session",
    "Basis": "edgekit.life.retire",
    "MinLength": "edgekit.life.retire",
    "MaxThicknessLoss": "edgekit.life.retire",
    "MaxWidthLoss": "edgekit.life.retire",
    "Use": "edgekit.life.use",
    "use": "edgekit.life.use",
    "WornBlade": "edgekit.grinding.worn_blade",
    "read_worn": "edgekit.grinding.worn_file",
    "write_worn": "edgekit.grinding.worn_file",
    "live": "edgekit.life.life",
    "compare": "edgekit.study.compare",
    "LifeCase": "edgekit.study.case",
    "sweep": "edgekit.study.sweep",
    "full_grid": "edgekit.study.grid",
    "list_grid": "edgekit.study.grid",
    "latin_hypercube": "edgekit.study.grid",
    "sobol_points": "edgekit.study.grid",
    "sensitivity": "edgekit.study.sensitivity",
    "tornado": "edgekit.study.sensitivity",
    "runs_needed": "edgekit.study.sensitivity",
    "grain_um": "edgekit.method.grain",
    "Scale": "edgekit.method.grain",
    "Abrasive": "edgekit.method.abrasive",
    "roughness": "edgekit.edge_finish.texture",
    "working_angles": "edgekit.edge_finish.cutting",
    "wire_edge": "edgekit.method.wire_edge",
    "vickers": "edgekit.edge_finish.hardness",
    "rockwell_c": "edgekit.edge_finish.hardness",
    "section_properties": "edgekit.bending.section_properties",
    "read_log": "edgekit.clinic.log.log",
    "forecast": "edgekit.clinic.forecast.forecast",
    "compare_with_model": "edgekit.clinic.forecast.model_check",
    "source_rows": "edgekit.clinic.forecast.provenance",
    "MinWidth": "edgekit.life.retire",
    "survival": "edgekit.clinic.forecast.survival",
    "budget": "edgekit.clinic.cost.budget",
    "saving": "edgekit.clinic.cost.saving",
    "read_prices": "edgekit.clinic.cost.prices",
    "write_table": "edgekit.tables",
    "read_table": "edgekit.tables",
    "fewest_settings": "edgekit.clinic.bench.settings",
    "SettingRange": "edgekit.clinic.bench.settings",
    "plan_bench": "edgekit.clinic.bench.plan",
    "read_tray": "edgekit.clinic.tray",
    "setting_sheet": "edgekit.figures.clinic.setting_sheet",
    "key_inputs": "edgekit.study.evidence_ranges",
    "cautions": "edgekit.safety",
    "evidence": "edgekit.evidence_table",
    "Lubricant": "edgekit.method.abrasive",
    "fine_natural_stone": "edgekit.method.abrasive",
    "ceramic_stone": "edgekit.method.abrasive",
    "diamond_plated_stone": "edgekit.method.abrasive",
    "DiscStone": "edgekit.contact.stone",
    "HolderStroke": "edgekit.method.lay",
    "Oblique": "edgekit.method.lay",
    "StraightStroke": "edgekit.method.lay",
    "across_edge": "edgekit.method.lay",
    "along_edge": "edgekit.method.lay",
    "lay": "edgekit.method.lay",
    "StrokeSense": "edgekit.method.wire_edge",
    "finish": "edgekit.edge_finish.report",
    "blunting": "edgekit.edge_finish.blunting",
    "steel_grain_claim": "edgekit.edge_finish.steel_grain",
    "strength": "edgekit.bending.strength",
    "MinStrength": "edgekit.life.retire",
    "Alternation": "edgekit.method.alternation",
    "face_or_sides": "edgekit.study.face_or_sides",
    "mixture": "edgekit.study.face_or_sides",
}
_MODULES = {
    "patterns": "edgekit.geometry.patterns",
    "methods": "edgekit.method.catalogue",
    "strokes": "edgekit.method.strokes",
    "figures": "edgekit.figures",
}
# Public names of 0.1 and what they are called since 0.2; kept for one version.
_RENAMED = {
    "LengthFraction": "MinLength",
    "LifeTask": "LifeCase",
    "StrengthRatio": "MinStrength",
    "ThicknessFraction": "MaxThicknessLoss",
    "WidthFraction": "MaxWidthLoss",
    "WidthLimit": "MinWidth",
    "beside_model": "compare_with_model",
    "rows_behind": "source_rows",
    "what_decides": "key_inputs",
}

__all__ = ["EdgekitError", "__version__", *_HOMES, *_MODULES]  # noqa: PLE0604


def __getattr__(name: str) -> object:
    if name in _HOMES:
        found: object = getattr(importlib.import_module(_HOMES[name]), name)
    elif name in _MODULES:
        found = importlib.import_module(_MODULES[name])
    elif name in _RENAMED:
        message = f"edgekit.{name} is now edgekit.{_RENAMED[name]}. Use the new name."
        raise AttributeError(message)
    else:
        message = f"module 'edgekit' has no attribute {name!r}"
        raise AttributeError(message)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(__all__)
