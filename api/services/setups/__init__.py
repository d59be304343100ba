"""Does a set-up fit before the load is applied, what two set-ups differ by, and the shelf."""
