"""A whole examination as acts: what each lets one see, and where the written result came from."""
