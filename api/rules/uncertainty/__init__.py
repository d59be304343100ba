"""Uncertainty maths of a force laboratory: pure functions, exact numbers, roots to 50 digits."""
