"""Tests of Slackwater; the tree mirrors the source."""
