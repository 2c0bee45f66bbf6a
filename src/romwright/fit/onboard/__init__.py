"""On the board: nets, bus cycles and links around a socket, and what they make of the chip in it."""
