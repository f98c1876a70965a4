"""The same unit in a general-purpose engine, written from its measures alone."""
