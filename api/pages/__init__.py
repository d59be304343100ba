"""Pages rendered on the server, their templates and assets; data only through services."""
