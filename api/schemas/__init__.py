"""Shapes and types of what comes in and goes out. No queries, no arithmetic."""
