"""Decision and uncertainty maths: pure functions on frozen values, no framework and no storage.

Reads the standard library, NumPy and scipy.special only. Start at `decide` for one result and at
`vector` for columns of results.
"""

# Stored with every decision and recall: which maths gave the answer.
ENGINE_VERSION = "0.1.0"
