"""What a relative permittivity says about the concrete, in words.

Bands: dry to mature concrete 4 to 8, moist or young 8 to 12, up to about 16 when saturated (from memory: Bungey and Millard,
Testing
of Concrete in Structures; ACI 228.2R gives 6 to 11). ITU-R P.2040-3 Table 3 puts ordinary concrete from 1 to 100 GHz at 5.24. A
plausibility check only: permittivity also depends on aggregate and age, so no moisture content is stated.
"""

from ..common.language import tr

BANDS = (
    (4.0, tr("unusually low for concrete")),
    (5.5, tr("typical of dry concrete")),
    (8.0, tr("typical of mature, air-dry concrete")),
    (12.0, tr("typical of moist or young concrete")),
    (18.3, tr("typical of very wet concrete")),
)


def moisture_words(relative_permittivity: float) -> str:
    """The band that a relative permittivity falls into, in words."""
    for limit, words in BANDS:
        if relative_permittivity < limit:
            return words
    return tr("unusually high for concrete")
