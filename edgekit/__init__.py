"""Edge geometry and wear of small curved hand instruments.

Public names load when first used, so that ``import edgekit`` costs little more than numpy. They
are listed once, in the stub beside this file, which type checkers and editors read.
"""

from edgekit.lazy import attach

__version__ = "0.2.0"

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

__getattr__, __dir__, __all__ = attach(__name__, __file__, _RENAMED)
