"""Tests of the warm-up."""
