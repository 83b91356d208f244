"""Words of the trade: pitch, interval, scale, chord, rhythm, voice. Standard library only, no I/O."""
