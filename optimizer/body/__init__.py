"""The wearer: segments, poses, sites in space, swing inertia and swing dynamics."""
