"""Engraved pictures in terminals that can show pictures; chosen in Setup, and never loaded before."""
