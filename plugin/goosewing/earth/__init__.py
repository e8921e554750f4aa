"""Where things are: geodesics, loxodromes, courses, angles, positions, daylight."""
