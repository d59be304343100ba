"""Whole laboratories: one document, lines, or spreadsheets with a mapping."""
