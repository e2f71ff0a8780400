"""From paint to regions: colours to labels, labels to smooth borders, borders to chains of edges."""
