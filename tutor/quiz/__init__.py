"""Items frozen into packs, taken offline, gathered into figures."""
