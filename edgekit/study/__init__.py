"""What one asks of many lives: comparisons, sweeps, sensitivities."""
