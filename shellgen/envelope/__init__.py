"""The height-field kernel: grow, draft, close, triangulate."""
