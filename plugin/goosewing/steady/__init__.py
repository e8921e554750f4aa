"""The plan in steady wind and stream: boards in closed form, their order, ways round hazards."""
