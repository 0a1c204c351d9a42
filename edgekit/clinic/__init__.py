"""What a clinic does: trays, logs, forecasts, costs, the hour at the bench."""

from edgekit.lazy import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
