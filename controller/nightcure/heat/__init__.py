"""What we do about it: regulators, the modulator (duty to on/off) and the relay."""
