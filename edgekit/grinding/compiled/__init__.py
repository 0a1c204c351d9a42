"""The optional second engine: sessions of rolling strokes in functions that numba compiles."""
