"""Floor 6: the append-only memory."""
