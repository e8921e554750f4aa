"""Plans, marks and sentences in the formats that others read: GPX, GeoJSON, JSON, NMEA 0183."""
