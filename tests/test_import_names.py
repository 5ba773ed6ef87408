"""Our ``processing`` folder and QGIS's module of the same name must live side by side."""

from pathlib import Path


def test_both_processing_modules_are_what_they_claim(qgis_processing):
    import processing  # noqa: TID251

    import inslab.processing

    root = Path(__file__).resolve().parent.parent
    assert Path(inslab.processing.__file__).resolve().parent == root / "processing"
    assert root not in Path(processing.__file__).resolve().parents
    assert callable(processing.run)
