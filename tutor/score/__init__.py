"""The only room that knows music21: files in, NoteTables out."""
