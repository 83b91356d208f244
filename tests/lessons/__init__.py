"""Tests of the bundled songs and lessons."""
