"""The coordinate system of a site grid that is not tied to any national grid.

A plain local Transverse Mercator whose name says what it is. Without a CRS, QGIS takes the metres for degrees, and GDAL 3.6
stores a GeoPackage layer as geographic. An engineering CRS would be the honest kind, but QGIS then warns at every redraw that
no transformation is available. Tying the grid to a national one later means re-stamping; coordinates never change.
"""


def local_crs_wkt(name: str = "Site grid") -> str:
    """WKT2 of the site grid called `name`: metres, x (east) before y (north), valid in QGIS and GDAL, tied to nothing."""
    degree, metre = 'ANGLEUNIT["degree",0.0174532925199433]', 'LENGTHUNIT["metre",1]'
    name = name.replace('"', "'")
    return (
        f'PROJCRS["{name} (local, not tied)",BASEGEOGCRS["Unknown (not tied)",DATUM["Unknown (not tied)",'
        f'ELLIPSOID["GRS 1980",6378137,298.257222101,{metre}]],PRIMEM["Greenwich",0,{degree}]],'
        'CONVERSION["local",METHOD["Transverse Mercator",ID["EPSG",9807]],'
        f'PARAMETER["Latitude of natural origin",0,{degree},ID["EPSG",8801]],'
        f'PARAMETER["Longitude of natural origin",0,{degree},ID["EPSG",8802]],'
        'PARAMETER["Scale factor at natural origin",1,SCALEUNIT["unity",1],ID["EPSG",8805]],'
        f'PARAMETER["False easting",0,{metre},ID["EPSG",8806]],PARAMETER["False northing",0,{metre},ID["EPSG",8807]]],'
        f'CS[Cartesian,2],AXIS["site x (X)",east,ORDER[1],{metre}],AXIS["site y (Y)",north,ORDER[2],{metre}]]'
    )
