"""Floor 8. The report of a rehearsal: one record, and every face of it."""
