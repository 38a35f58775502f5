"""How any answer looks: tables, printing, files, the question it answers."""
