"""Version of the program; `api.rules.ENGINE_VERSION` tells which maths gave an answer.

A constant rather than the installed metadata, so that a checkout knows it too; a test holds it
equal to pyproject.toml.
"""

VERSION = "0.1.0"
