"""Tests of the findings."""
