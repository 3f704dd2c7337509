"""Floor 3: from a dose event to a verdict with every reason."""
