"""SWINGS: what the course of a series of alkalinity readings says."""
