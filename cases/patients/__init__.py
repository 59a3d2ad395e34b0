"""One coherent drawn patient, the population, the scatter of a reading, and what an examination of them shows."""
