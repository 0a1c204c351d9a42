"""The reference: pages made from docstrings, drawn, linked and checked, into ``build/reference/``."""
