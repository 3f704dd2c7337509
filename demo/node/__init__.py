"""A pump node to build upon: its decisions, and the pins and wire beside them."""
