"""Calibrations with their certificates: recorded, issued, revised, voided, corrected."""
