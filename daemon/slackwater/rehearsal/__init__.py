"""Floor 6: the same decisions under a virtual clock in a virtual tank."""
