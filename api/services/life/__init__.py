"""What an item has borne and when it is due: load events, cycles, ledgers, intervals."""
