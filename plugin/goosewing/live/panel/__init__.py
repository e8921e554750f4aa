"""The panel: its documents, its own server, and who may ask it."""
