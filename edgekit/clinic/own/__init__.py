"""A clinic's own files, read together and answered."""
