"""Good, doubtful or bad: what the figures of a result mean for the build's thresholds."""
