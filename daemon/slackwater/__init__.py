"""Slackwater: a dosing daemon for reef aquariums that would rather miss than repeat."""

__version__ = "0.1.0"
