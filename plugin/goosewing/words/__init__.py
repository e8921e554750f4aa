"""Facts put into sailors' words: pure text, made last, from records."""
