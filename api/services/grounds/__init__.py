"""What speaks against issuing a certificate? Findings at issue and today, overrides by name."""
