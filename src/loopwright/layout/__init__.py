"""From regions to patches: the border graph, planned turns, and cuts into patches of three to five sides."""
