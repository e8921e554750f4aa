"""Variation, deviation, and headings as the helm reads them."""
