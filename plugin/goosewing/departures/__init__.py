"""When to leave: the same passage at many times, and what of it will do."""
