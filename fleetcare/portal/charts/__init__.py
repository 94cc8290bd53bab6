"""Charts as SVG text, drawn by pure functions: the same in a page, on paper and in a PDF."""
