"""The board: relay, thermometers, button. The only room that touches hardware."""
