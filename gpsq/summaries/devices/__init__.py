"""The figures of one device, each kind in a module of its own."""
