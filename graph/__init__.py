"""The traceability graph: what rests on what, and what a fault does to it.

Imports nothing of the application: it is given records and answers with records.
"""
