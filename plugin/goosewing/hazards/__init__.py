"""Land, shoals and whatever else may not be crossed."""
