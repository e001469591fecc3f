"""Where the protocols and the demo data lie, in a wheel and in a checkout alike."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path


def folder(name: str) -> Path:
    """The data folder ``name`` (``protocols`` or ``demo_data``): inside the package, else beside it.

    Raises
    ------
    FileNotFoundError
        If the installation lacks the folder.
    """
    packed = Path(str(files("study").joinpath(name)))
    if packed.is_dir():
        return packed
    beside = Path(__file__).resolve().parent.parent / name
    if beside.is_dir():
        return beside
    raise FileNotFoundError(f"{name}/ is neither in the study package nor beside it")
