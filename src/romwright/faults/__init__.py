"""What is wrong with a read: which lines are crossed, stuck or joined, and which bits are wrong besides."""
