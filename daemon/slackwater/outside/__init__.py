"""Floor 6: adapters to the world, each knowing the others through `wire` only."""
