"""The hour at the bench: fewest settings, order of work, minutes."""
