"""A recall shown to others: provenance, explanations, rows, pictures."""
