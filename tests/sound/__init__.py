"""Tests of the sound room."""
