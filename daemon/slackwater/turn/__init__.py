"""THE HEART: one step for live, shadow and rehearsed."""
