"""The charts, as SVG and PNG."""
