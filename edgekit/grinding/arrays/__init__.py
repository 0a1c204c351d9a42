"""Rolling strokes with arrays: levels of many sections at once, a flank under strokes, strokes."""
