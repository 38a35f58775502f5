"""The directivity of a design in open formats, and the JSON Schemas of what roundcast writes."""
