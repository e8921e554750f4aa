"""Hazards from files: one reader a format, told apart by what the file holds."""
