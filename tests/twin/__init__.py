"""A second action unit, written from the same frozen data into a general-purpose engine.

The twin imports nothing of sim.physics or sim.bench: of the project it takes the data
of sim.unit alone (``beside.py``, which compares, takes both).  Bodies, joints, weights,
springs, inertia and all dry friction are the engine's (``bodies.py``); gaps, felts and
the string are worked out anew (``measures.py``, ``laws.py``); ``bench.py`` drives a key
and reads; ``stock.py`` puts the engine's own contacts in the place of the felts.
"""
