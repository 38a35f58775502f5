"""How a measurement is planned: where to stand, what may be off, which readings tell."""
