"""One file, one drill. Files whose name starts with an underscore are shared helpers."""
