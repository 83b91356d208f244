"""The terminal: screens and widgets."""
