"""The command line: parses, calls the engine, prints."""
