"""Factors between the units used inside (millimetres, radians) and those shown (µm, degrees)."""

UM_PER_MM = 1000.0
