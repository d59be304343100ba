"""Tracehold's application: decisions, traceability and recall behind a REST API.

Importing this package imports nothing else, so that the client and the command line start fast.
"""
