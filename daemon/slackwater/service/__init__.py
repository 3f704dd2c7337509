"""Floor 7: the shell around the decision: gather, turn, append, act, wait."""
