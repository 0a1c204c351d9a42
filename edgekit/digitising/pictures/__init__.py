"""Widths and losses of one's own blades from pictures, each with its uncertainty.

Read a picture, find its scale from a target, trace the outline of the backlit blade, and compare
pictures from before and after a session. Model and picture alike are estimates; check with a pin of
known width.
"""

from edgekit.lazy import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
