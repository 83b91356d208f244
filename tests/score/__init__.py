"""Tests of the score room."""
