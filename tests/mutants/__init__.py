"""Small changes to the code, one at a time, that some test must turn red."""
