"""The line finder: an image from which every fault of the lines can be read off, and the reading."""
