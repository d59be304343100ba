"""How a set-up fits the instrument: lengths, angles, parts on the shelf, and load cycles."""
