"""Read, check and repair sculpts, and prepare the surface that all planning runs on."""
