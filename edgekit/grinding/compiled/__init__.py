"""The optional second engine: sessions of strokes in functions that numba compiles."""
