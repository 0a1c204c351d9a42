"""Factors between the units used inside (millimetres, radians) and those shown (µm, degrees)."""

__all__ = ["UM_PER_MM"]

UM_PER_MM = 1000.0
