"""Fasteners, materials, cautions: published tables as data files with a source column. Imports no other part."""
