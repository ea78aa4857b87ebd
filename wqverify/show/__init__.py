"""A record becomes blocks, and blocks become terminal text, notebook HTML or a page."""
