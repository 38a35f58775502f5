"""What was measured: readers, curves, positions, comparing."""
