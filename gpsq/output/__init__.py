"""From an analysis to tables, layers, charts, map and page; nothing is computed here."""
