"""Commands, one thin module each."""
