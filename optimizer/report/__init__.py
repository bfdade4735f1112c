"""From screen to workshop: pictures, one HTML page and the build sheet of a layout.

Nothing of the layout is worked out here: assessments, fronts, sweeps and studies of trust come in
as results and are drawn or written down.
"""
