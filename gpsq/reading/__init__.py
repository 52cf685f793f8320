"""From files to traces: one module a format; the only place that knows about files of recordings."""
