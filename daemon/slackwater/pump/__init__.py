"""Floor 3: from a verdict to a command, from a reply to an outcome."""
