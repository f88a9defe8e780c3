"""Laboratory values in words: as events, as stages, as trends, and together with pressure."""
