"""Resin cards, the cure clock, kinetics, the laminate's exotherm, and vapour."""
