"""What is done about a recall: its case, dispositions, isolated and similar items."""
