"""A chip: package, pins, and the rows of levels in which it drives its outputs."""
