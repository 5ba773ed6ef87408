"""The fit of one scan area on its own."""


def fit_area(area):
    """The position of an area from its control points alone."""
    from inslab.processing.site.fit import fit_areas

    return fit_areas([area]).fits[area.area_id]
