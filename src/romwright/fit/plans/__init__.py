"""Plans: what goes to each pin of a chip in a socket laid out for another, and the proof that it does."""
