"""The figure kit: results or plain arrays to matplotlib figures."""
