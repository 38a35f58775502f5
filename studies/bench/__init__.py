"""The bench: a page on the owner's own machine on which everything can be asked."""
