"""Random nights on random ovens, judged by what is true in the oven and not by the controller's
word: `python -m tests.campaign faults|clean|regulation N`."""
