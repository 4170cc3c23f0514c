"""A recorded night again: through the same loop to the bit, or on its own oven with a change."""
