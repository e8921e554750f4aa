"""Laylines of a mark, straight and curved."""
