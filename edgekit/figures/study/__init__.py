"""Pictures of lives, comparisons, mixtures, sweeps and of what the inputs do to a result."""
