"""Models of an oven: thermal network, description from a ruler, sizing, many ovens at once."""
