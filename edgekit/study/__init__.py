"""Studies of many simulated lives: comparisons, sweeps, sensitivities."""
