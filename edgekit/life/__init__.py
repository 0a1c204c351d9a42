"""From new to retired: use dulls, sessions sharpen, rules end it."""
