"""The only room that knows SQL."""
