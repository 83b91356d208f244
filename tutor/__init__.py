"""Larkstair: reads a song for voice and piano and turns it into practice."""

__version__ = "0.1.0"
