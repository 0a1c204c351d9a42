"""Laws of use to choose from: how the edge radius grows with strokes, and where strokes fall."""

from edgekit.lazy import shown
from edgekit.life.density import EvenUse, ToeThird, UseDensity
from edgekit.life.dulling import DullingLaw, PowerDulling, SaturatingDulling, TableDulling

__all__ = [
    "DullingLaw",
    "EvenUse",
    "PowerDulling",
    "SaturatingDulling",
    "TableDulling",
    "ToeThird",
    "UseDensity",
]

__dir__ = shown(__all__)
