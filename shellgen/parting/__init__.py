"""Where the mold comes apart: planes, cells, pulls."""
