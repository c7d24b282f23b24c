"""What to do next: the plan from a belief and the stakes to a step."""
