"""From a heat-and-cool test or a night to what the oven is, how surely, and its gains."""
