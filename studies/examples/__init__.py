"""Example designs of an invented scenario, with pictures and invented measurements."""
