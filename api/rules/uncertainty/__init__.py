"""Uncertainty of measurement: from components to a stated expanded uncertainty, pure functions."""
