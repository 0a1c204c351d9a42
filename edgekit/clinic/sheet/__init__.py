"""The setting sheet: its words, drawings and page."""
