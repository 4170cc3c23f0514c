"""The oven itself: thermal network, virtual oven, and bench wires that stand in for hardware."""
