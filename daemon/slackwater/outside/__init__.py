"""Floor 6: adapters to the world; they know each other through wire only."""
