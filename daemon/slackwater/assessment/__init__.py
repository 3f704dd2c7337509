"""Floor 3: from test results to where each parameter stands and what to do."""
