"""Own steel per stroke from weighings of blades, its uncertainty, and two ways compared."""
