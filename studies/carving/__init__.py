"""How a curve of one's own is searched: limits, curves, where to begin, the search, its file."""
