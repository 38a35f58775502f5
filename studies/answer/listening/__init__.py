"""The listening panel: designs heard against each other, and a blind test."""
