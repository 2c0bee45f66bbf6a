"""What one dump shows of a bad read, with no good image beside it."""
