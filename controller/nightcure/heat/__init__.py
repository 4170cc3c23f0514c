"""How much heat, and when: regulators, feed-forward, and the modulator (duty to on and off)."""
