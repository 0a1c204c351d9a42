"""How a stone meets an edge: orientation, holders with one setting, facets."""
