"""Sheets and pictures of a plan; they draw its numbers and work out none of their own."""
