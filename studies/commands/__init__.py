"""The commands of roundcast, in rooms by the kind of question: parse, call."""
