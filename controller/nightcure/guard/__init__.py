"""Interlocks, alarms and the trip latch."""
