"""Version of the program; `api.rules.ENGINE_VERSION` tells which maths gave an answer.

A constant rather than the installed metadata, so that a checkout knows it too; a test holds it
equal to pyproject.toml. So does one for the schema, which Alembic knows too, but slowly.
"""

VERSION = "0.1.0"
# Revision of the database that this version reads and writes.
SCHEMA = "0016"
