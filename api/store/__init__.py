"""Tables, queries, engine and migrations."""
