"""Setting an oven up and checking it: what a person does at a fresh board."""
