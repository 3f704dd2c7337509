"""Floor 4: what is wrong → one alarm a person can act on."""
