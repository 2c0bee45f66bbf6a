"""What could make a damaged dump good again: every correction that a checksum allows, or a reference's bytes."""
