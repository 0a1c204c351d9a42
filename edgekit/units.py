"""Units and levels that are the same everywhere: factors to those shown, the level of intervals."""

UM_PER_MM = 1000.0
LEVEL = 0.9  # share of outcomes within an interval, unless another level is asked for
LEVEL_Z = 1.6448536269514722  # standard deviations on either side that hold it
