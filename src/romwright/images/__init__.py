"""Bytes, and what can be computed from bytes. Knows no chips."""
