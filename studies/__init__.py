"""Decisions: files, studies, answers, the command."""
