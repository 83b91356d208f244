"""Each widget takes a value, posts a message, and runs alone."""
