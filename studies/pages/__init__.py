"""Results to HTML pages that need no network: the report of every command, the explorer."""
