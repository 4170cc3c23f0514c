"""Tonight: is it possible, by which profile, with what certainty. See `plan.plan.plan_night`."""
