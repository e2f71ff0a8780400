"""Write finished meshes to files that other programs open."""
