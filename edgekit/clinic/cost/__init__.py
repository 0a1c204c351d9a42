"""What replacements, sessions and minutes cost."""
