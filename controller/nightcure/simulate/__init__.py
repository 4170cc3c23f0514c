"""Ovens in software: virtual plants, the wires that stand in for a board, faults, rehearsals."""
