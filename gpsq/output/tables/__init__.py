"""Tables and layers for people, programs and GIS."""
