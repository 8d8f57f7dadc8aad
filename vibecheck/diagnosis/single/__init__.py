"""With less than a sweep: one shaft, its bearings, its balance."""
