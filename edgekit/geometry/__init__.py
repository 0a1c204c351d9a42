"""What a blade is: curves, frames along an edge, sections, and the six patterns."""
