"""One module per group of verbs, loaded when it is asked for."""
