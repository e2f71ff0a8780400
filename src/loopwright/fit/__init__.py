"""Even the mesh out on the sculpt, and lay its limit surface on it."""
