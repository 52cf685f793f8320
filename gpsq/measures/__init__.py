"""One route measured: first fix, cross-track error, curve distances, deviations."""
