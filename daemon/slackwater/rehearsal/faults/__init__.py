"""Floor 6. A house in which one thing after another goes wrong on purpose."""
