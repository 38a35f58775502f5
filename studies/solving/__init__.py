"""Candidates, their solves and scores, what is kept of them and what they cost."""
