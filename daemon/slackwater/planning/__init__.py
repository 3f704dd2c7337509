"""Floor 3: from a plan to approved dose events."""
