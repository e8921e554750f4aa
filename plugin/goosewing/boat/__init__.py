"""The boat: her sail sets, polar tables, leeway and what her manoeuvres cost."""
