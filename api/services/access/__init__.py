"""Who may ask: keys, persons, sessions of the pages, and requests sent twice."""
