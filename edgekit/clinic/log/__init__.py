"""The log of a clinic: good rows, refused lines with the reason, flags and each edge's history."""
