"""GPX: marks and routes in, plans out."""
