"""Charts as SVG or on paper."""
