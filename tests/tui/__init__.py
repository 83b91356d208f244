"""Tests of the terminal room."""
