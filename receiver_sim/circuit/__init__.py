"""From a build to its circuit as data: elements that know what they are, in blocks, seen in three views."""
