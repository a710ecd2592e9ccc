"""Decisions: where to act, and where to sample next."""
