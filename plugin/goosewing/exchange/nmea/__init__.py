"""NMEA 0183: sentences, wires, and what they carry in and out."""
