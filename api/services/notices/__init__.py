"""Letters to customers about a recall, and what became of them."""
