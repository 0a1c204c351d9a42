"""Widths and losses of one's own blades from pictures, each with its uncertainty.

Read a picture, find its scale from a target, trace the outline of the backlit blade, and compare
pictures from before and after a session. Model and picture alike are estimates; check with a pin of
known width.
"""

import importlib

_HOMES = {
    "LINEAR": "reading",
    "SRGB": "reading",
    "Gamma": "reading",
    "Picture": "reading",
    "Response": "reading",
    "read_picture": "reading",
    "Checkerboard": "targets.calibrating",
    "KnownWidth": "targets.calibrating",
    "Scale": "targets.calibrating",
    "StageMicrometer": "targets.calibrating",
    "calibrate": "targets.calibrating",
    "EdgeLength": "outlines.parts",
    "HeelAt": "outlines.parts",
    "Parts": "outlines.parts",
    "Side": "outlines.parts",
    "Outline": "outlines.blade_outline",
    "Quality": "outlines.blade_outline",
    "View": "outlines.blade_outline",
    "outline": "outlines.blade_outline",
    "Datum": "registering",
    "WidthLoss": "loss",
    "width_loss": "loss",
    "Apex": "widths",
    "Mount": "widths",
    "Width": "widths",
    "width": "widths",
    "Chip": "outlines.chipping",
    "chips": "outlines.chipping",
    "EdgeSpread": "profiles",
    "edge_spread": "profiles",
    "EdgeEnd": "one_view",
    "Propagated": "one_view",
    "SeenEdge": "one_view",
    "ToeRule": "one_view",
    "blade_from_view": "view_trace",
    "propagate_trace": "view_trace",
    "edge_from_view": "one_view",
    "Budget": "budget",
    "Input": "budget",
    "Shape": "budget",
}

__all__ = sorted(_HOMES)  # noqa: PLE0605


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        message = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(message)
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return __all__
