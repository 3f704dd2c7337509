"""The audit: what was done beside what was approved, by code that shares nothing."""
