"""HTTP concerns shared by all resources; no domain words here."""
