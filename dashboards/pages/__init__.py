"""Pages, one a module: each turns frames into the text and rows that a template lays out."""
