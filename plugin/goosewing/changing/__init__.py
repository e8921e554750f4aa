"""The plan where wind or stream change: search, polish, what is told of both."""
