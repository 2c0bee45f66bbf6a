"""The search for the line map that explains a dump: whatever is crossed, stuck, joined or inverted."""
