"""May a certificate be issued on the ground it stands on? Findings, each with its remedy."""
