"""The answers of a trend in words: `statements` gathers the topics of the other modules."""
