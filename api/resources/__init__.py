"""One blueprint per resource: a view parses, calls one service and returns."""
