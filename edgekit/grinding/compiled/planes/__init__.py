"""Sessions of local strokes in functions that numba compiles."""
