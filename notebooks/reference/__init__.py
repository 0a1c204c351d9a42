"""The reference: pages from docstrings, drawn, linked and checked, in ``build/reference/``."""
