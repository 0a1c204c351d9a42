"""Stones to choose from: their forms, and what they cut with."""

from edgekit.contact.stone import ConeStone, DiscStone, FlatStone, RodStone, Stone
from edgekit.lazy import shown
from edgekit.method.abrasive import (
    Abrasive,
    Lubricant,
    ceramic_stone,
    diamond_plated_stone,
    fine_natural_stone,
)
from edgekit.method.grain import Scale

__all__ = [
    "Abrasive",
    "ConeStone",
    "DiscStone",
    "FlatStone",
    "Lubricant",
    "RodStone",
    "Scale",
    "Stone",
    "ceramic_stone",
    "diamond_plated_stone",
    "fine_natural_stone",
]

__dir__ = shown(__all__)
