"""Faults tried to the end: every order, not only those that chance finds."""
