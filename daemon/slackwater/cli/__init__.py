"""Floor 8: what people type and read."""
