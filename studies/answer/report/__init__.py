"""HTML that needs no network, from templates."""
