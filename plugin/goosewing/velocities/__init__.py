"""The velocities that a boat can hold over the ground: their hull, targets, the polar as drawn."""
