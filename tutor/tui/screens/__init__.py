"""One file, one screen."""
