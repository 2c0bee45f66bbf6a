"""Will it be in time? A CPU's read windows against the access times of a chip, and what lies between the two."""
