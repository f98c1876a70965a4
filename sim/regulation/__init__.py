"""Decisions: which settings bring about what is wanted."""
