"""What the program is held against: published numbers and exact fields, each with its source.

Every module holds the numbers of one kind of source and the functions that find the same by the
program. `checks.CHECKS` is all of them; the validation tests and `roundcast proof` use the same.
"""
