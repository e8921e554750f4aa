"""Marks to be reached: from where she is, and left on a hand."""
