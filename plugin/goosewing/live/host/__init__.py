"""The running service in a Signal K host: its paths, units and messages."""
