"""Lessons, exercises and marks: what a learner is shown and asked, and how the simulation answers."""
