"""Lines of hex digits to bytes, many at a time: what Intel HEX and S-records have in common."""
