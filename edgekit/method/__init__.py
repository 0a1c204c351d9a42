"""A way of sharpening: what guides the stone, how the hand errs, what the stone cuts with."""
