"""Results in files, whole and to the last bit, with what made them."""
