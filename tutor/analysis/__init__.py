"""NoteTable in, findings out: pure functions on numpy arrays."""
