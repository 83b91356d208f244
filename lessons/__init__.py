"""Songs and lessons that ship with the program; data only."""
