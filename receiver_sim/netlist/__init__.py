"""From a build to deck text: contexts, templates and probes."""
