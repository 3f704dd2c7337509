"""Floor 2: frozen records of a tank, its plan, its past; no behaviour."""
