"""What the running service knows and advises: pure, and without a clock of its own."""
