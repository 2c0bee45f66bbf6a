"""What goes on paper, and its like on the terminal."""
