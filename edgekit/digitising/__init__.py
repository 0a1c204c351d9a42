"""From measurements of a real blade to its model, and back into files."""
