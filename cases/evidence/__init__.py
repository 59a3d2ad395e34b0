"""What the project's claims rest on: every source once, by key, and what a learner is told of it."""
