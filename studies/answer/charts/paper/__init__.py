"""Sheets at true size."""
