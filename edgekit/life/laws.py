"""Dulling laws to choose from: how the edge radius grows with working strokes."""

from edgekit.lazy import shown
from edgekit.life.dulling import DullingLaw, PowerDulling, SaturatingDulling, TableDulling

__all__ = ["DullingLaw", "PowerDulling", "SaturatingDulling", "TableDulling"]

__dir__ = shown(__all__)
