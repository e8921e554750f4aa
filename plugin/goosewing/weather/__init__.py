"""What the wind and the current are, at given times and places."""
