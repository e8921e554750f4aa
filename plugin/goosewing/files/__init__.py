"""Bytes, XML and tables of text: every reader of a file goes through here."""
