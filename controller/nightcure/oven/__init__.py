"""The oven itself: thermal network, virtual oven, and the bench wires that stand in for hardware."""
