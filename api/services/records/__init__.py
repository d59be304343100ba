"""What the laboratory has: items, what holds what, checks, customers, chains of certificates."""
