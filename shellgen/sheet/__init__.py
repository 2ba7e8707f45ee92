"""Pictures and drawings of a build."""
