"""A fault, whom it reaches and how much; the stored answer, and when it is no longer true."""
